//! Who hears of what: the core and the alert desk over the scenarios that raise an alert, or
//! nearly do.
//!
//! `SEEDS=20 cargo test --test simulation alerts -- --nocapture` prints the table of 20 seeds;
//! `SCENARIO=booster-fails` picks one scenario. The desk is stored and brought back at every record,
//! as if the gateway had been killed there.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::thread;

use rinseward::core::alert::Condition;
use rinseward::core::record::Body;
use rinseward_simulator::scenario::{self, Aim, Scenario};
use rinseward_simulator::world::World;

use crate::gateway::{Gateway, Response};
use crate::office::{Office, Raised};

/// Most messages to one contact in an hour or four of one scenario (own choice: raised, grew,
/// returned, a summary an hour, cleared, action missing).
const MESSAGES_MAX: usize = 12;

/// One scenario and seed.
struct Played {
    scenario: Scenario,
    seed: u64,
    office: Office,
    racks: usize,
}

/// Every scenario raises exactly what it is meant to, for the right machine.
#[test]
fn the_right_conditions_are_raised_and_no_others() {
    let played = play_all();
    print(&played);
    let mut wrong = Vec::new();
    for one in &played {
        let (scenario, seed) = (one.scenario, one.seed);
        let expected: BTreeSet<(String, String)> = scenario
            .aim()
            .expected()
            .iter()
            .map(|one| (one.machine.to_owned(), one.condition.to_string()))
            .collect();
        let raised: BTreeSet<(String, String)> = one
            .office
            .raised
            .values()
            .map(|raised| (raised.machine.clone(), raised.condition.to_string()))
            .collect();
        if raised != expected {
            wrong.push(format!("SEED={seed} {scenario}: raised {raised:?}, expected {expected:?}"));
        }
        check_patterns(one);
        check_messages(one);
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// A first cold rack after a rest is told apart from a booster that has failed.
fn check_patterns(one: &Played) {
    use rinseward::core::alert::Pattern::{FirstAfterIdle, Repeated};
    for expected in one.scenario.aim().expected() {
        let own = one.office.raised.values().filter(|raised| {
            raised.machine == expected.machine && raised.condition.as_str() == expected.condition.as_str()
        });
        for Raised { patterns, .. } in own {
            let told_apart = match expected.pattern {
                None => true,
                Some(scenario::Pattern::Repeated) => patterns.contains(&Repeated),
                Some(scenario::Pattern::FirstAfterIdle) => patterns.iter().all(|one| *one == FirstAfterIdle),
            };
            assert!(told_apart, "SEED={} {}: {patterns:?}", one.seed, one.scenario);
        }
    }
}

/// Somebody is told of every alert at once, nobody is flooded, and nobody of nothing.
fn check_messages(one: &Played) {
    let told: BTreeSet<u64> = one.office.notices.iter().map(|notice| notice.alert.number.0).collect();
    let raised: BTreeSet<u64> = one.office.raised.keys().copied().collect();
    assert_eq!(told, raised, "SEED={} {}: each alert is told", one.seed, one.scenario);
    let mut by_contact: BTreeMap<&str, usize> = BTreeMap::new();
    for notice in &one.office.notices {
        *by_contact.entry(&notice.contact).or_default() += 1;
    }
    for (contact, count) in by_contact {
        assert!(count <= MESSAGES_MAX, "SEED={} {}: {count} messages to {contact}", one.seed, one.scenario);
    }
    let keys: BTreeSet<&str> = one.office.notices.iter().map(|notice| notice.key.as_str()).collect();
    assert_eq!(
        keys.len(),
        one.office.notices.len(),
        "SEED={} {}: a key is used twice",
        one.seed,
        one.scenario
    );
}

/// Records are kept, messages held, until the window ends.
#[test]
fn a_maintenance_window_holds_messages() {
    let one = play(Scenario::BoosterFails, 1, Some(1.0));
    let held_until = one.office.start.plus(std::time::Duration::from_secs(3_600));
    assert_eq!(one.office.raised.len(), 1, "the alert is on record");
    assert!(one.office.raised.values().all(|raised| raised.at < held_until));
    let early = one.office.notices.iter().find(|notice| notice.alert.raised.seconds_since(held_until) >= 0.0);
    assert!(early.is_none(), "{early:?}");
    assert!(one.office.told_at.iter().all(|at| *at >= held_until), "{:?}", one.office.told_at);
    let unheld = play(Scenario::BoosterFails, 1, None);
    assert!(unheld.office.told_at.iter().any(|at| *at < held_until), "without a window somebody is told");
}

/// Both sides use the same words for the same things.
#[test]
fn simulator_and_gateway_name_the_same_conditions() {
    let ours: BTreeSet<&str> = Condition::ALL.iter().map(|condition| condition.as_str()).collect();
    let theirs: BTreeSet<&str> =
        scenario::Condition::ALL.iter().map(|condition| condition.as_str()).collect();
    assert_eq!(ours, theirs);
}

/// The seeds are shared between the processors; the scenarios are worth some minutes otherwise.
fn play_all() -> Vec<Played> {
    let only = std::env::var("SCENARIO").ok();
    let seeds: u64 = std::env::var("SEEDS").ok().and_then(|text| text.parse().ok()).unwrap_or(3);
    let chosen: Vec<Scenario> = Scenario::ALERTS
        .iter()
        .copied()
        .filter(|scenario| only.as_deref().is_none_or(|only| only == scenario.as_str()))
        .collect();
    let jobs: Vec<(Scenario, u64)> =
        chosen.iter().flat_map(|scenario| (1..=seeds).map(|seed| (*scenario, seed))).collect();
    let lanes = thread::available_parallelism().map_or(1, usize::from).min(4);
    let work = |lane: usize| jobs.iter().skip(lane).step_by(lanes).map(|(s, seed)| play(*s, *seed, None));
    let mut played: Vec<Played> = thread::scope(|scope| {
        let lanes: Vec<_> =
            (0..lanes).map(|lane| scope.spawn(move || work(lane).collect::<Vec<_>>())).collect();
        lanes.into_iter().flat_map(|lane| lane.join().expect("a lane ends")).collect()
    });
    played.sort_by_key(|one| (one.scenario, one.seed));
    played
}

/// Plays a scenario, with a maintenance window of so many hours from its start.
fn play(scenario: Scenario, seed: u64, maintenance_h: Option<f64>) -> Played {
    let plan = scenario.plan();
    let world = World::new(scenario, seed);
    let mut gateway = Gateway::of(&world, Response::OnFile);
    let mut office = Office::of(&world, &plan);
    if let Some(hours) = maintenance_h {
        office.maintain(hours);
    }
    let (mut racks, mut heard) = (0, 0);
    let mut hear = |gateway: &Gateway, office: &mut Office| {
        for record in &gateway.records[heard..] {
            racks += usize::from(matches!(record.body, Body::Cycle(_)));
            office.commit(record);
        }
        heard = gateway.records.len();
    };
    for emission in world {
        gateway.take(&emission);
        hear(&gateway, &mut office);
        office.see(&emission);
    }
    gateway.finish();
    hear(&gateway, &mut office);
    Played { scenario, seed, office, racks }
}

#[expect(clippy::print_stdout, reason = "the table is what this test is run for")]
fn print(played: &[Played]) {
    let mut table = format!("{:<20}{:>5}{:>7}{:>7}  raised\n", "scenario", "seed", "racks", "told");
    for one in played {
        let raised: Vec<String> = one
            .office
            .raised
            .values()
            .map(|raised| format!("{} {} ×{}", raised.machine, raised.condition, raised.racks))
            .collect();
        let aim = match one.scenario.aim() {
            Aim::NearlyRaises(condition) => format!("(nearly {condition})"),
            Aim::Raises(_) | Aim::Recognition => String::new(),
        };
        let (told, racks) = (one.office.notices.len(), one.racks);
        let (scenario, seed) = (one.scenario, one.seed);
        let row = format!("{scenario:<20}{seed:>5}{racks:>7}{told:>7}  {} {aim}", raised.join(", "));
        writeln!(table, "{}", row.trim_end()).expect("a string takes everything");
    }
    println!("{table}racks judged; messages; alerts with their racks");
}
