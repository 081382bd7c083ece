//! A dialog at a probe puts its machine under work.

use super::fixture::{Play, at, settings};
use crate::core::alert::{DialogStands, Event, Refusal};
use crate::core::record::{Body, DialogWork, Maintenance, Worked};
use crate::core::time::Timestamp;

impl Play {
    fn dialog(&mut self, minutes: f64, stands: DialogStands) {
        self.until(minutes);
        let event = Event::Dialog { machine: "hot", stands, by: "Eli", why: "calibration of hot/rinse" };
        self.handle(event).expect("a dialog");
    }

    /// It goes on until then, said every minute.
    fn goes_on(&mut self, from: f64, to: f64) {
        let mut minutes = from + 1.0;
        while minutes <= to {
            self.dialog(minutes, DialogStands::GoesOn(at(from)));
            minutes += 1.0;
        }
    }

    fn by_hand(&mut self, until: f64) {
        let window = Event::Maintenance { machine: Some("hot"), until: at(until), by: "Tom" };
        self.handle(window).expect("a window");
    }

    /// Each record of work: until which minute, by whom, whether it is an end.
    fn work(&self) -> Vec<(f64, Option<&str>, bool)> {
        let minutes = |until: Timestamp| until.seconds_since(at(0.0)) / 60.0;
        let records = self.effects.records.iter().map(|record| {
            let Body::Maintenance(work) = &record.body else { panic!("nothing else happens: {record:?}") };
            (minutes(work.until), work.by.as_deref(), work.ended)
        });
        records.collect()
    }
}

const ELI: Option<&str> = Some("Eli");
const TOM: Option<&str> = Some("Tom");

// The spans are this module's own: four minutes at first and three at the end, no more than fifteen.
#[test]
fn a_dialog_holds_its_machine_with_few_records() {
    let mut play = Play::new(settings());
    play.restores = true;
    play.dialog(0.0, DialogStands::Begins);
    play.goes_on(0.0, 60.0);
    play.dialog(60.5, DialogStands::Ended(at(0.0)));
    play.until(100.0);
    let ends: Vec<f64> = [4.0, 6.0, 8.0, 10.0, 14.0, 22.0, 34.0, 46.0, 58.0, 70.0, 63.5].to_vec();
    let mut expected: Vec<_> = ends.into_iter().map(|end| (end, ELI, false)).collect();
    expected.push((63.5, None, true));
    assert_eq!(play.work(), expected);
    let Body::Maintenance(first) = &play.effects.records[0].body else { panic!("a window") };
    assert_eq!(first.why.as_deref(), Some("calibration of hot/rinse"));
    assert_eq!(play.desk.held_until(Some("hot")), None);
}

// A dialog that was killed says nothing any more. The least and the most are those of README.md; it is killed just
// before its next word.
#[test]
fn a_killed_dialog_marks_racks_for_three_to_fifteen_minutes() {
    for lasted in 1..=90 {
        let lasted = f64::from(lasted);
        let mut play = Play::new(settings());
        play.dialog(0.0, DialogStands::Begins);
        play.goes_on(0.0, lasted - 1.0);
        play.until(200.0);
        let Some((ends, None, true)) = play.work().last().copied() else { panic!("it ends by itself") };
        assert!((3.0..=15.0).contains(&(ends - lasted)), "killed after {lasted} min, until {ends} min");
    }
}

// What somebody asked for by hand is not made shorter, and its end by hand counts.
#[test]
fn a_window_by_hand_lasts_as_long_as_was_asked() {
    let mut play = Play::new(settings());
    play.until(0.0);
    play.by_hand(60.0);
    play.dialog(1.0, DialogStands::Begins);
    play.goes_on(1.0, 10.0);
    play.dialog(10.0, DialogStands::Ended(at(1.0)));
    assert_eq!(play.work(), [(60.0, TOM, false), (60.0, ELI, false)], "its beginning is on record");
    assert_eq!(play.desk.held_until(Some("hot")), Some(at(60.0)));
    // It runs out while another dialog goes on.
    play.dialog(50.0, DialogStands::Begins);
    play.goes_on(50.0, 59.0);
    play.dialog(59.5, DialogStands::Ended(at(50.0)));
    assert_eq!(play.work()[2..], [(60.0, ELI, false), (64.0, ELI, false), (62.5, ELI, false)]);
    // By hand over a dialog's own.
    play.dialog(70.0, DialogStands::Begins);
    play.by_hand(200.0);
    play.dialog(71.0, DialogStands::Ended(at(70.0)));
    assert_eq!(play.desk.held_until(Some("hot")), Some(at(200.0)));
    play.by_hand(71.0);
    assert_eq!(play.desk.held_until(Some("hot")), None);
}

// What somebody asked for by hand ends no sooner for a dialog that began shortly before its end.
#[test]
fn a_short_dialog_at_the_end_of_a_window_by_hand_leaves_it_its_time() {
    for began in [55.0, 56.5, 57.5, 59.0] {
        let mut play = Play::new(settings());
        play.until(0.0);
        play.by_hand(60.0);
        play.dialog(began, DialogStands::Begins);
        play.dialog(began + 0.1, DialogStands::Ended(at(began)));
        let until = play.desk.held_until(Some("hot"));
        let least = at(60.0).max(at(began + 3.1));
        assert_eq!(until, Some(least), "begun at {began} min: {:?}", play.work());
    }
}

// Own promise: whoever says that the work is over is believed; a dialog that is still open marks the machine no more,
// neither while it goes on nor at its end, and one that begins afterwards does.
#[test]
fn a_dialog_that_is_still_open_undoes_no_end_by_hand() {
    let mut play = Play::new(settings());
    play.restores = true;
    play.dialog(0.0, DialogStands::Begins);
    play.goes_on(0.0, 3.0);
    play.by_hand(3.0);
    assert_eq!(play.desk.held_until(Some("hot")), None);
    let records = play.work().len();
    play.goes_on(0.0, 6.0);
    play.dialog(7.0, DialogStands::Ended(at(0.0)));
    assert_eq!((play.desk.held_until(Some("hot")), play.work().len()), (None, records), "{:?}", play.work());
    play.dialog(8.0, DialogStands::Begins);
    play.goes_on(8.0, 20.0);
    play.dialog(20.0, DialogStands::GoesOn(at(0.0)));
    assert!(play.desk.held_until(Some("hot")).is_some_and(|until| until > at(22.0)), "{:?}", play.work());
}

// Own promise: a spell of work is told by its beginnings and its end, who and why; every other record says that it
// only follows a dialog.
#[test]
fn a_spell_of_work_says_who_worked_and_at_what() {
    let mut play = Play::new(settings());
    play.dialog(0.0, DialogStands::Begins);
    play.goes_on(0.0, 10.0);
    play.dialog(10.5, DialogStands::Ended(at(0.0)));
    play.dialog(11.0, DialogStands::Begins);
    play.dialog(11.5, DialogStands::Ended(at(11.0)));
    play.by_hand(30.0);
    play.until(40.0);
    let told = |of: &Maintenance| (of.by.clone(), of.dialog, of.begun, of.ended);
    let records: Vec<Maintenance> = play
        .effects
        .records
        .iter()
        .map(|record| {
            let Body::Maintenance(of) = &record.body else { panic!("nothing else happens: {record:?}") };
            of.clone()
        })
        .collect();
    let own: Vec<_> = records.iter().filter(|of| !of.only_moves_its_end()).map(told).collect();
    let (eli, tom) = (|| ELI.map(str::to_owned), || TOM.map(str::to_owned));
    let since = Some(at(0.0));
    let expected = [
        (eli(), None, None, false),
        (eli(), None, since, false),
        (tom(), None, since, false),
        (None, None, since, true),
    ];
    assert_eq!(own, expected);
    let worked = |by: &str, why: Option<&str>| Worked { by: by.to_owned(), why: why.map(str::to_owned) };
    let last = records.last().expect("its end");
    assert_eq!(last.worked, [worked("Eli", Some("calibration of hot/rinse")), worked("Tom", None)]);
    let follows: Vec<_> = records.iter().filter(|of| of.only_moves_its_end()).collect();
    assert!(follows.iter().all(|of| of.begun == since && of.why.is_some()), "{follows:?}");
    assert_eq!(follows.iter().filter(|of| of.dialog == Some(DialogWork::Over)).count(), 2);
}

#[test]
fn two_dialogs_at_one_machine_hold_it_until_the_last_has_ended() {
    let mut play = Play::new(settings());
    play.dialog(0.0, DialogStands::Begins);
    play.dialog(1.0, DialogStands::Begins);
    play.goes_on(1.0, 8.0);
    play.dialog(8.0, DialogStands::Ended(at(1.0)));
    assert_eq!(play.desk.held_until(Some("hot")), Some(at(11.0)));
    for minutes in [9.0, 10.0, 11.0] {
        play.dialog(minutes, DialogStands::GoesOn(at(0.0)));
    }
    assert!(play.desk.held_until(Some("hot")).is_some_and(|until| until > at(15.0)), "{:?}", play.work());
}

#[test]
fn a_dialog_is_somebodys_at_a_machine() {
    let mut play = Play::new(settings());
    let refused = |play: &mut Play, machine: &str, by: &str, why: &str| {
        play.handle(Event::Dialog { machine, stands: DialogStands::Begins, by, why })
    };
    let unknown = Err(Refusal::UnknownMachine { machine: "hat".to_owned() });
    assert_eq!(refused(&mut play, "hat", "Eli", "x"), unknown);
    for (by, why) in [(" ", "x"), ("Eli", " ")] {
        assert!(matches!(refused(&mut play, "hot", by, why), Err(Refusal::Missing { .. })), "{by} {why}");
    }
    assert!(play.work().is_empty());
}
