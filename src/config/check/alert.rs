//! `[[contact]]`, `[alert]`, `[[shift]]` and `[[meal-period]]`: who is told of what, and when.

use std::collections::{BTreeMap, BTreeSet};

use jiff::tz::TimeZone;

use super::{Calibrated, Canonical, entries};
use crate::config::delivery::Delivery;
use crate::config::keys::{ALERT, CONTACT, DIGESTS, Key, LANGUAGES, MEAL_PERIOD, SCALES, SHIFT};
use crate::config::layers::Merged;
use crate::config::problem::{Fault, Findings, Problem};
use crate::config::reader::Reader;
use crate::config::resolve::DigestOptions;
use crate::config::suggest::nearest;
use crate::core::alert::{Condition, Contact, Hours, MachineSettings, Period, Route, Rules, Settings};
use crate::core::channel::{Channel, Place, Role};
use crate::core::cycle::plate::Profile;
use crate::core::id::check_part;
use crate::core::record::CheckKind;
use crate::core::wall_clock::midnight;

/// Most routes of one contact (own choice).
const ROUTES_MAX: usize = 8;

/// What the other sections say that alerts must know.
pub(super) struct Site {
    /// Zone of every local time.
    pub(super) zone: TimeZone,
    /// When ware is washed.
    pub(super) open: Option<Hours>,
}

/// Reads the four sections; the machines are added by [`machines`].
pub(super) fn read(
    merged: &Merged,
    site: Site,
    delivery: &Delivery,
    out: &mut Canonical,
    findings: &mut Findings,
) -> Option<(Settings, DigestOptions)> {
    let mut contacts = Vec::new();
    let (mut daily, mut weekly) = (Vec::new(), Vec::new());
    for (name, _, mut reader) in entries("contact", &CONTACT, merged, findings) {
        if let Err(error) = check_part(name) {
            reader.refuse("name", error.to_string(), findings);
        }
        contacts.extend(read_contact(&mut reader, name, delivery, findings));
        let digest = reader.choice("digest", &DIGESTS, findings);
        daily.extend(digest.filter(|digest| digest.daily).map(|_| name.to_owned()));
        weekly.extend(digest.filter(|digest| digest.weekly).map(|_| name.to_owned()));
        out.section("[[contact]]", reader.finish(findings));
    }
    let place = merged.table.values().find_map(|node| node.place.clone());
    let mut reader = Reader::new(&ALERT, merged.table.get("alert"), "[alert]".to_owned(), place);
    let rules = read_rules(&mut reader, findings);
    let at = reader.time("digest-at", findings);
    out.section("[alert]", reader.finish(findings));
    let shifts = periods("shift", &SHIFT, merged, out, findings);
    let meal_periods = periods("meal-period", &MEAL_PERIOD, merged, out, findings);
    warn_of_nobody(merged, &contacts, findings);
    let Site { zone, open } = site;
    let settings =
        Settings { zone, machines: BTreeMap::new(), contacts, shifts, meal_periods, open, rules: rules? };
    Some((settings, DigestOptions { at: at?, daily, weekly }))
}

/// The machines as alerts know them.
pub(super) fn machines(
    profiles: &[Profile],
    channels: &[Channel],
    calibrated: &BTreeMap<String, Calibrated>,
    zone: &TimeZone,
) -> BTreeMap<String, MachineSettings> {
    let mut machines = BTreeMap::new();
    for (number, profile) in profiles.iter().enumerate() {
        let own = channels.iter().filter(|channel| usize::from(channel.machine.0) == number);
        let chemical = profile.sanitizing.is_chemical();
        let sanitizer = chemical.then(|| (profile.sanitizing, profile.sanitizer.clone()));
        let mut settings = MachineSettings { sanitizer, ..MachineSettings::default() };
        for channel in own {
            let name = channel.name.as_str();
            if let Some(calibrated) = calibrated.get(name) {
                let on = calibrated.on.and_then(|on| midnight(zone, on));
                settings.calibrated_on.insert(name.to_owned(), on);
                settings.calibrated_until.extend(calibrated.until().map(|until| (name.to_owned(), until)));
            }
            let Role::Probe(probe) = &channel.role else { continue };
            match probe.place {
                Place::FinalRinse => settings.rinse_probe = Some(name.to_owned()),
                Place::WashTank => {
                    settings.wash_probe = Some(name.to_owned());
                    settings.tank_min = Some(profile.wash_min.at);
                }
                Place::Ware | Place::Other => {}
            }
        }
        machines.insert(profile.name.clone(), settings);
    }
    machines
}

fn read_contact(
    reader: &mut Reader<'_>,
    name: &str,
    delivery: &Delivery,
    findings: &mut Findings,
) -> Option<Contact> {
    let role = reader.text("role", findings);
    let step: Option<u8> = reader.integer("step", findings);
    let last_resort = reader.flag("last-resort", findings);
    let routes = read_routes(reader, delivery, findings);
    let hours = reader.hours("hours", findings);
    let language = reader.choice("language", &LANGUAGES, findings);
    let units = reader.choice("units", &SCALES, findings);
    let last_resort = last_resort?;
    Some(Contact {
        name: name.to_owned(),
        role,
        step: step.unwrap_or(u8::from(!last_resort)),
        last_resort,
        routes: routes?,
        hours,
        language: language?,
        units: units?,
    })
}

fn read_routes(reader: &mut Reader<'_>, delivery: &Delivery, findings: &mut Findings) -> Option<Vec<Route>> {
    let texts = reader.names("routes", findings)?;
    if texts.is_empty() || texts.len() > ROUTES_MAX {
        reader.refuse("routes", format!("from 1 to {ROUTES_MAX} routes"), findings);
        return None;
    }
    let mut routes: Vec<Route> = Vec::new();
    for text in texts {
        match text.parse::<Route>() {
            Ok(route) if routes.contains(&route) => {
                reader.refuse("routes", format!("each route once; «{text}» is there twice"), findings);
            }
            Ok(route) => {
                if let Some(wanted) = lacks(&route, delivery) {
                    reader.refuse("routes", format!("{wanted}, for the route «{text}»"), findings);
                }
                routes.push(route);
            }
            Err(error) => reader.refuse("routes", format!("{error}; «{text}» is none"), findings),
        }
    }
    Some(routes)
}

/// What a route needs and the configuration does not have.
fn lacks(route: &Route, delivery: &Delivery) -> Option<String> {
    match route {
        Route::Email(_) | Route::Text(_) => {
            delivery.mail.is_none().then(|| "a section [mail] with the mail server".to_owned())
        }
        Route::Webhook(name) => {
            let known = || delivery.webhooks.iter().map(|webhook| webhook.name.as_str());
            if known().any(|known| known == name) {
                return None;
            }
            let meant = nearest(name, known()).map(|meant| format!(" (was «{meant}» meant?)"));
            Some(format!("a [[webhook]] of the name «{name}»{}", meant.unwrap_or_default()))
        }
        Route::Mqtt => delivery.publish.is_none().then(|| "a section [publish] with the broker".to_owned()),
    }
}

fn periods(
    list: &'static str,
    keys: &'static [Key],
    merged: &Merged,
    out: &mut Canonical,
    findings: &mut Findings,
) -> Vec<Period> {
    let mut periods = Vec::new();
    for (name, _, mut reader) in entries(list, keys, merged, findings) {
        if let Some(hours) = reader.hours("hours", findings) {
            periods.push(Period { name: name.to_owned(), hours });
        }
        out.section(&format!("[[{list}]]"), reader.finish(findings));
    }
    periods
}

fn read_rules(reader: &mut Reader<'_>, findings: &mut Findings) -> Option<Rules> {
    let words = Condition::ALL.map(Condition::as_str);
    let off = read_words(reader, "off", &words, |word| word.parse().ok(), findings);
    let checks =
        read_words(reader, "checks", &CheckKind::ALL.map(CheckKind::as_str), CheckKind::named, findings);
    let counts = ["good-cycles", "repeated-after", "narrow-after", "unproven-after", "drift-cycles"];
    let [good_cycles, repeated, narrow, unproven, drift_baseline] =
        counts.map(|key| reader.integer::<u32>(key, findings));
    let drift_min_k = reader.difference("drift-min", findings);
    let disk_free_min = reader.number("disk-free-min", findings);
    let rounds = reader.integer("rounds", findings);
    let times = ["idle-after", "tank-grace", "check-grace", "clock-grace", "series-behind-max"];
    let [idle, tank_grace, check_grace, clock_grace, series_behind_max] =
        times.map(|key| reader.duration(key, findings));
    let times = [
        "escalate-after",
        "start-over-after",
        "summary-every",
        "settle",
        "action-reminder",
        "maintenance-max",
    ];
    let [escalate_after, start_over_after, summary_every, settle, action_reminder, maintenance_max] =
        times.map(|key| reader.duration(key, findings));
    let rules = Rules {
        off: off.unwrap_or_default(),
        checks: checks.unwrap_or_else(|| BTreeSet::from(CheckKind::ROUTINE)),
        good_cycles: good_cycles?,
        repeated: repeated?,
        idle: idle?,
        narrow: narrow?,
        unproven: unproven?,
        drift_baseline: drift_baseline?,
        drift_min_k: drift_min_k?,
        tank_grace: tank_grace?,
        check_grace: check_grace?,
        disk_free_min: disk_free_min?,
        clock_grace: clock_grace?,
        series_behind_max: series_behind_max?,
        escalate_after: escalate_after?,
        start_over_after: start_over_after?,
        rounds: rounds?,
        summary_every: summary_every?,
        settle: settle?,
        action_reminder: action_reminder?,
        maintenance_max: maintenance_max?,
    };
    warn_of_switched_off(reader, &rules, findings);
    Some(rules)
}

/// A list of known words.
fn read_words<T: Ord>(
    reader: &mut Reader<'_>,
    key: &'static str,
    legal: &[&'static str],
    meaning: impl Fn(&str) -> Option<T>,
    findings: &mut Findings,
) -> Option<BTreeSet<T>> {
    let texts = reader.names(key, findings)?;
    let mut set = BTreeSet::new();
    for text in texts.iter().filter(|text| !text.is_empty()) {
        match meaning(text) {
            Some(word) => {
                set.insert(word);
            }
            None => {
                let meant = nearest(text, legal.iter().copied());
                let meant = meant.map(|meant| format!("; for «{text}» \"{meant}\" was probably meant"));
                let wanted = format!("words of: {}{}", legal.join(", "), meant.unwrap_or_default());
                reader.refuse(key, wanted, findings);
            }
        }
    }
    Some(set)
}

/// A condition that may reach a customer should not be silent.
fn warn_of_switched_off(reader: &Reader<'_>, rules: &Rules, findings: &mut Findings) {
    for condition in rules.off.iter().filter(|condition| condition.needs_action()) {
        let why = format!("nobody will be told of «{condition}», though such ware may reach a customer");
        let advice = "take it out of off, unless something else tells of it at once".to_owned();
        findings.warnings.push(reader.problem("off", Fault::Doubtful { why, advice }));
    }
}

/// Somebody who sets up channels or shifts wants somebody to be told, at every hour.
fn warn_of_nobody(merged: &Merged, contacts: &[Contact], findings: &mut Findings) {
    let wanted = ["alert", "shift", "meal-period", "mail", "webhook", "publish"];
    let wanted = wanted.into_iter().find(|section| merged.table.contains_key(*section));
    let (why, advice) = if contacts.is_empty() && !merged.table.contains_key("contact") {
        let Some(section) = wanted else { return };
        let why =
            format!("{section} is set up, and there is no [[contact]]: alerts are recorded, nobody is told");
        (why, "add a [[contact]] with its routes")
    } else if !contacts.is_empty()
        && contacts.iter().all(|contact| contact.hours.is_some() && !contact.last_resort)
    {
        let why = "every contact has hours and none is a last resort: outside them nobody is told".to_owned();
        (why, "give one contact last-resort = true, or no hours")
    } else {
        return;
    };
    let fault = Fault::Doubtful { why, advice: advice.to_owned() };
    findings.warnings.push(Problem { place: None, key: "[[contact]]".to_owned(), seen: None, fault });
}
