//! SIGKILL at random instants while a booster fails again and again: no alert is lost and none
//! doubled, whatever was being done.
//!
//! A node sends through a real broker; the gateway is killed and started again all the while.
//! Between two lives somebody writes the corrective action of an open alert into the ledger by
//! command, so that alerts close and new ones are raised. A message may reach its receiver twice
//! when the kill falls between the receiver's answer and its commit; it then bears the same key,
//! by which receivers know it (CloudEvents `id`, `Message-ID`).

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::thread;
use std::time::{Duration, Instant};

use rinseward::core::alert::{Condition, Occasion};
use rinseward::core::cycle::verdict::Verdict;
use rinseward::core::record::{Body, Outcome, Record};
use rinseward::core::time::Timestamp;
use rinseward::ledger::{LetterStatus, Reader};
use rinseward_simulator::dice::Dice;
use rinseward_simulator::fault::{Fault, FaultKind};
use rinseward_simulator::scenario::Plan;
use serde_json::Value;

use super::office::{Gateway, Office, Peers, until};
use crate::crash::killing::{AgainWith, report};
use crate::crash::kitchen::{Stream, plan};
use crate::crash::publisher::Publisher;
use crate::mqtt::broker::Broker;

/// Kills where `KILLS` does not say.
const KILLS: u32 = 15;
/// Longest life of a gateway, ms: from before its recovery to well into its work.
const LIFE_MS_MAX: f64 = 600.0;
/// Simulated seconds in one.
const SPEED: f64 = 150.0;
/// Length of the stream for each kill, simulated seconds.
const STREAM_S: f64 = 60.0;
/// How long the booster is dead, h: two racks at the least, five as a rule.
const BOOSTER_DEAD_H: f64 = 0.09;
/// How long it works between, h: about three racks, and more than the time to settle.
const BOOSTER_WELL_H: f64 = 0.12;
/// Lives to wait for the last letter; two escalations follow each other by two seconds.
const LAST_LIVES_MAX: u32 = 5;
/// Every so many kills somebody writes a corrective action.
const ACT_EVERY: u32 = 4;

#[test]
fn no_alert_is_lost_or_doubled_by_kills_at_random_instants() {
    // An error says that a provider is installed already.
    drop(rustls::crypto::ring::default_provider().install_default());
    let again = AgainWith::of_environment("alerts::kills", KILLS);
    let (kills, seed) = (again.kills, again.seed);
    let began = Instant::now();
    let stream = Stream::of_plan(&rush(f64::from(kills) * STREAM_S / 3600.0), seed);
    let (peers, broker) = (Peers::start(), Broker::start());
    let source = format!(
        "[[source]]\nname = \"broker\"\nkind = \"mqtt\"\nhost = \"127.0.0.1\"\nport = {}\n\
         [[source.subscription]]\nfilter = \"probes/#\"",
        broker.port()
    );
    let office = Office::new(&peers, &source, "escalate-after = \"2s\"\nsettle = \"1s\"\ngood-cycles = 1");
    let mut dice = Dice::new(seed, 2);
    let mut seen = Seen::default();

    let gateway = Gateway::start(&office, "");
    until_subscribed(&gateway, &office, &stream, broker.port());
    let publisher = Publisher::start(broker.port(), stream.packs.clone(), SPEED);
    gateway.kill();
    let mut acts = 0;
    for kill in 1..kills {
        let gateway = Gateway::start(&office, slowed(&mut dice));
        thread::sleep(Duration::from_secs_f64(dice.uniform(0.0, LIFE_MS_MAX) / 1e3));
        gateway.kill();
        if kill % ACT_EVERY == 0 {
            acts += act_on_all(&office);
        }
        seen.hear(&peers);
    }
    publisher.finish();
    let expected = expected_cycles(&office, &stream);
    let open = last_lives(&office, expected);
    seen.hear(&peers);

    let story = Story::of(&office);
    story.check(&open, acts);
    seen.check(&office, &story);
    report(&format!(
        "{kills} kills, seed {seed}: {expected} cycles, {} of them cold; {} alerts, {} messages delivered \
         ({} received twice under their key), {acts} corrective actions; 0 lost, 0 doubled; {:.1?}",
        story.cold.len(),
        story.raised.len(),
        story.delivered.len(),
        seen.repeats,
        began.elapsed()
    ));
    drop(again);
}

/// Racks without a pause in a machine whose booster trips again and again.
fn rush(hours: f64) -> Plan {
    let mut plan = plan(1, hours);
    let mut from = BOOSTER_WELL_H;
    let machine = &mut plan.machines[0];
    machine.faults.clear();
    while from < hours {
        machine.faults.push(Fault::hours(FaultKind::BoosterDead, from, from + BOOSTER_DEAD_H));
        from += BOOSTER_DEAD_H + BOOSTER_WELL_H;
    }
    plan
}

/// The first message is published until it is on record: from there on the broker collects.
fn until_subscribed(gateway: &Gateway, office: &Office, stream: &Stream, port: u16) {
    let channel = stream.readings.keys().next().expect("a channel");
    let stored = || {
        let reader = Reader::open(&office.ledger()).ok()?;
        Some(!reader.readings(channel, Timestamp::MIN, Timestamp::MAX).ok()?.is_empty())
    };
    until(
        || {
            Publisher::start(port, vec![stream.packs[0].clone()], f64::INFINITY).finish();
            thread::sleep(Duration::from_millis(50));
            stored() == Some(true)
        },
        || gateway.log(),
    );
}

/// At one start of two a point of the writer at which it rests for a moment, now and then.
fn slowed(dice: &mut Dice) -> &'static str {
    const POINTS: [&str; 8] = [
        "ledger::before-append=30%sleep(60)",
        "ledger::after-letters=30%sleep(60)",
        "ledger::before-append-commit=30%sleep(60)",
        "ledger::after-append-commit=30%sleep(60)",
        "",
        "",
        "",
        "",
    ];
    let place = dice.uniform(0.0, POINTS.len() as f64);
    POINTS.iter().enumerate().find(|(index, _)| place < *index as f64 + 1.0).map_or("", |(_, point)| point)
}

/// Writes the corrective action of every open alert, without a service.
fn act_on_all(office: &Office) -> usize {
    let list = office.rinseward(&["alerts", "list", "--open", "--json"]);
    assert!(list.status.success(), "{}", String::from_utf8_lossy(&list.stderr));
    let list = String::from_utf8(list.stdout).expect("UTF-8");
    let open = list.lines().map(|line| serde_json::from_str::<Value>(line).expect("JSON"));
    let numbers: Vec<String> = open.map(|alert| alert["number"].to_string()).collect();
    let mut written = 0;
    for number in &numbers {
        let words = ["--by", "Ana", "--racks", "rewashed", "--done", "booster reset"];
        let done = office.rinseward(&[&["alerts", "act", number][..], &words].concat());
        let said = String::from_utf8_lossy(&done.stderr);
        // What the killed gateway had left undone is done first; that can close an alert of the list.
        let closed_before =
            said.contains(&format!("error[alert-refused]: no open alert has the number {number}"));
        assert!(done.status.success() || closed_before, "{said}");
        written += usize::from(done.status.success());
    }
    written
}

fn expected_cycles(office: &Office, stream: &Stream) -> usize {
    let trace = office.path("stream.senml");
    let lines: Vec<&str> = stream.packs.iter().map(|pack| pack.payload.as_str()).collect();
    fs::write(&trace, lines.join("\n")).expect("a temporary file");
    let replayed = office.rinseward(&["replay", "--json", trace.to_str().expect("UTF-8")]);
    String::from_utf8(replayed.stdout).expect("UTF-8").lines().count()
}

/// Lives that end in order, until one leaves no letter behind: an escalation that falls due as it stops
/// leaves with the next. Gives the racks of the alerts that are open then, by number.
fn last_lives(office: &Office, cycles: usize) -> BTreeMap<u64, u64> {
    for _ in 0..LAST_LIVES_MAX {
        let gateway = Gateway::start(office, "");
        until_settled(&gateway, office, cycles);
        let open = open_racks(office);
        gateway.stop();
        if all_left(office) {
            return open;
        }
    }
    panic!("{LAST_LIVES_MAX} lives in a row left a letter behind");
}

fn all_left(office: &Office) -> bool {
    let waiting = Reader::open(&office.ledger()).and_then(|reader| reader.letters_waiting(None));
    waiting.is_ok_and(|waiting| waiting.is_empty())
}

/// Waits until every cycle is judged, the desk has seen it, and every letter has left.
fn until_settled(gateway: &Gateway, office: &Office, cycles: usize) {
    let settled = || {
        let judged = office.records().iter().filter(|record| matches!(record.body, Body::Cycle(_))).count();
        let seen = ask(office, "/health").is_some_and(|health| health["alerts_up_to_date"] == true);
        judged >= cycles && seen && all_left(office)
    };
    until(settled, || format!("{cycles} cycles expected, it does not settle: {}", gateway.log()));
}

/// Asks the running service at its socket.
fn ask(office: &Office, route: &str) -> Option<Value> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
    let socket = office.path("ledger.sqlite.socket");
    runtime.block_on(async {
        let client = reqwest::Client::builder().unix_socket(socket).build().ok()?;
        client.get(format!("http://localhost{route}")).send().await.ok()?.json().await.ok()
    })
}

/// Racks of the alerts that are open, by number.
fn open_racks(office: &Office) -> BTreeMap<u64, u64> {
    let open = ask(office, "/alerts").expect("the service answers");
    let open = open.as_array().expect("a list").iter();
    let cold = open.filter(|alert| alert["condition"] == "cold");
    let number = |value: &Value| value.as_u64().expect("a number");
    cold.map(|alert| (number(&alert["number"]), number(&alert["racks"]["count"]))).collect()
}

/// What the ledger holds in the end.
struct Story {
    records: Vec<Record>,
    /// Indices of cold cycles.
    cold: Vec<u64>,
    /// Number and cause of each cold alert, in order.
    raised: Vec<(u64, Option<u64>)>,
    /// Keys of delivered letters.
    delivered: Vec<String>,
}

impl Story {
    fn of(office: &Office) -> Self {
        let records = office.records();
        let (mut cold, mut raised, mut delivered) = (Vec::new(), Vec::new(), Vec::new());
        for (index, record) in (0..).zip(&records) {
            match &record.body {
                Body::Cycle(cycle) if cycle.verdict == Verdict::Cold => cold.push(index),
                Body::AlertRaised(alert) => {
                    let is_cold = alert.condition == Condition::Cold;
                    raised.extend(is_cold.then_some((alert.alert.0, alert.cause)));
                }
                Body::Notification(letter) => {
                    assert_eq!(letter.outcome, Outcome::Delivered, "{letter:?}");
                    delivered.push(letter.key.clone());
                }
                _ => {}
            }
        }
        Self { records, cold, raised, delivered }
    }

    /// Numbers without a hole, each once; every cold rack counted in exactly one alert.
    fn check(&self, open: &BTreeMap<u64, u64>, acts: usize) {
        let numbers = |fits: fn(&Body) -> Option<u64>| -> Vec<u64> {
            self.records.iter().filter_map(|record| fits(&record.body)).collect()
        };
        let all = numbers(|body| match body {
            Body::AlertRaised(alert) => Some(alert.alert.0),
            _ => None,
        });
        assert_eq!(all, (1..=all.len() as u64).collect::<Vec<u64>>(), "alert numbers");
        let closed = numbers(|body| match body {
            Body::AlertClosed(closed) => Some(closed.alert.0),
            _ => None,
        });
        assert_eq!(closed.iter().collect::<BTreeSet<_>>().len(), closed.len(), "each closes once");
        let written = numbers(|body| match body {
            Body::CorrectiveAction(action) => Some(action.alert.0),
            _ => None,
        });
        assert_eq!(written.len(), acts, "corrective actions");

        let causes: Vec<u64> = self.raised.iter().filter_map(|(_, cause)| *cause).collect();
        assert_eq!(causes.len(), self.raised.len(), "each cold alert names its rack");
        assert!(causes.iter().all(|cause| self.cold.contains(cause)), "{causes:?} {:?}", self.cold);
        assert!(!self.cold.is_empty(), "no booster that failed left a rack cold");
        assert_eq!(self.cold.first(), causes.first(), "the first cold rack raises, of {:?}", self.cold);
        let own: BTreeSet<u64> = self.raised.iter().map(|(number, _)| *number).collect();
        let in_closed = self.records.iter().filter_map(|record| match &record.body {
            Body::AlertClosed(closed) if own.contains(&closed.alert.0) => Some(closed.racks),
            _ => None,
        });
        let counted: u64 = in_closed.sum::<u64>() + open.values().sum::<u64>();
        assert_eq!(counted, self.cold.len() as u64, "every cold rack in exactly one alert");
    }
}

/// What the receivers got.
#[derive(Default)]
struct Seen {
    /// Ids of events, with number and occasion.
    events: BTreeMap<String, (u64, String)>,
    /// Message ids.
    mails: BTreeSet<String>,
    /// Messages that came again under their key.
    repeats: usize,
}

impl Seen {
    fn hear(&mut self, peers: &Peers) {
        while let Some(line) = peers.webhook.heard() {
            let request: Value = serde_json::from_str(&line).expect("JSON");
            assert_eq!(request["verified"], serde_json::json!([true]), "{line}");
            let (event, data) = (&request["event"], &request["event"]["data"]);
            let number = data["alert"].as_u64().expect("a number");
            let text = |value: &Value| value.as_str().expect("text").to_owned();
            let told = (number, text(&data["occasion"]));
            match self.events.insert(text(&event["id"]), told.clone()) {
                None => {}
                Some(before) => {
                    assert_eq!(before, told, "one key, one message");
                    self.repeats += 1;
                }
            }
        }
        while let Some(line) = peers.mail.heard() {
            let mail: Value = serde_json::from_str(&line).expect("JSON");
            let headers = mail["headers"].as_array().expect("a list");
            let id = headers.iter().find(|pair| pair[0] == "Message-ID").expect("an id");
            self.repeats += usize::from(!self.mails.insert(id[1].as_str().expect("text").to_owned()));
        }
    }

    /// Delivered is what was received; each alert was told once as new, and nothing twice.
    fn check(&self, office: &Office, story: &Story) {
        let keys: BTreeSet<&String> = story.delivered.iter().collect();
        assert_eq!(keys.len(), story.delivered.len(), "each delivery on record once");
        let reader = Reader::open(&office.ledger()).expect("the ledger opens");
        let letters = reader.letters(100_000).expect("letters");
        assert!(letters.iter().all(|letter| letter.status == LetterStatus::Delivered), "every letter left");
        assert_eq!(letters.len(), keys.len(), "a record for each letter");
        let of = |channel: &str| letters.iter().filter(|letter| letter.letter.channel == channel).count();
        assert_eq!((self.events.len(), self.mails.len()), (of("webhook:office"), of("email")), "received");
        let mut new: BTreeMap<u64, usize> = BTreeMap::new();
        let occasion = serde_json::to_value(Occasion::Raised).expect("JSON");
        for (number, told) in self.events.values() {
            *new.entry(*number).or_default() += usize::from(occasion == told.as_str());
        }
        for (number, _) in &story.raised {
            assert_eq!(new.get(number), Some(&1), "alert {number} is told once as new");
        }
    }
}
