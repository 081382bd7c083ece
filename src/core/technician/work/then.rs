//! Work on a machine that ran at a time of the past: who, since when, until when, and the record of its beginning.
//!
//! It is put together from the records of one machine, or of the whole site, by the same rule as the times by which
//! racks are marked. What is not there, since its record is damaged, is left out.

use super::who;
use crate::core::reader::{Language, Reader, filled, said as say};
use crate::core::record::{Maintenance, Worked};
use crate::core::time::Timestamp;

/// What a record of work does to the work before it: the rule by which racks are marked, and the past is told.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Turn {
    /// Work begins.
    Begins,
    /// The end of what is under way is another one, or is now.
    Moves,
    /// What was under way had ended by itself, as late as was known.
    RanOut,
    /// The end of what nothing is known of.
    Nothing,
}

impl Turn {
    /// Of a record of then, which says that work has `ended` or not. `open` is until when the work before it counts,
    /// where its end is not on record.
    #[must_use]
    pub const fn of(open: Option<Timestamp>, recorded: Timestamp, ended: bool) -> Self {
        match open {
            Some(until) if recorded.micros() <= until.micros() => Self::Moves,
            Some(_) if ended => Self::RanOut,
            None if ended => Self::Nothing,
            Some(_) | None => Self::Begins,
        }
    }
}

/// Work on a machine, from its beginning to its end.
#[derive(Clone, PartialEq, Debug)]
pub struct WorkThen {
    /// Index of the record by which it began.
    pub record: u64,
    /// Its machine; `None` is the whole site.
    pub machine: Option<String>,
    /// Since when.
    pub since: Timestamp,
    /// Until when, as far as is on record.
    pub until: Timestamp,
    /// Whether its end is on record.
    pub is_over: bool,
    /// Who worked there by the time that is asked about, and at what.
    pub worked: Vec<Worked>,
}

impl WorkThen {
    /// All work that these records tell of, which are those of one machine or of the whole site, oldest first, each
    /// with its index and when it was recorded. Who came to it after `asked` is not named.
    #[must_use]
    pub fn all(
        machine: Option<&str>,
        records: &[(u64, Timestamp, Maintenance)],
        asked: Timestamp,
    ) -> Vec<Self> {
        let mut all: Vec<Self> = Vec::new();
        for (index, recorded, said) in records {
            let open = all.last_mut().filter(|last| !last.is_over);
            let until = open.as_ref().map(|open| open.until);
            match (Turn::of(until, *recorded, said.ended), open) {
                (Turn::RanOut, Some(open)) => open.is_over = true,
                (Turn::Moves, Some(open)) => {
                    (open.until, open.is_over) = (said.until, said.ended);
                    if *recorded <= asked {
                        said.add_to(&mut open.worked);
                    }
                }
                (Turn::Nothing | Turn::RanOut | Turn::Moves, _) => {}
                (Turn::Begins, before) => {
                    // What ran out before it is other work, and nobody marked the racks between.
                    let begun = said.begun.filter(|_| before.is_none());
                    let mut begun = Self {
                        record: *index,
                        machine: machine.map(str::to_owned),
                        since: begun.unwrap_or(*recorded),
                        until: said.until,
                        is_over: false,
                        worked: Vec::new(),
                    };
                    said.add_to(&mut begun.worked);
                    all.push(begun);
                }
            }
        }
        all
    }

    /// Whether it ran at some time from one instant to another.
    #[must_use]
    pub const fn ran(&self, from: Timestamp, to: Timestamp) -> bool {
        self.since.micros() <= to.micros() && from.micros() <= self.until.micros()
    }

    /// Who worked there, since when and until when: `Ana (calibration of dm1/rinse), since …, until …`.
    #[must_use]
    pub fn told(&self, reader: &Reader) -> String {
        let language = reader.language;
        let phrase = match (self.is_over, language) {
            (true, Language::English) => "{who}, since {since}, until {until}",
            (true, Language::Spanish) => "{who}, desde {since}, hasta {until}",
            (false, Language::English) => {
                "{who}, since {since}; no end is on record, and it counts as worked on until {until}"
            }
            (false, Language::Spanish) => {
                "{who}, desde {since}; no consta su fin, y cuenta como en trabajo hasta {until}"
            }
        };
        let who = Some(who(&self.worked, language)).filter(|who| !who.is_empty());
        let who = who.unwrap_or_else(|| say(language, "somebody", "alguien").to_owned());
        let (since, until) = (reader.moment(self.since), reader.moment(self.until));
        filled(phrase, &[("who", &who), ("since", &since), ("until", &until)])
    }
}

#[cfg(test)]
mod tests {
    use jiff::tz::TimeZone;

    use super::*;
    use crate::core::reader::Scale;
    use crate::core::record::DialogWork;

    const fn at(minute: i64) -> Timestamp {
        Timestamp::from_micros(1_795_694_400_000_000 + minute * 60_000_000)
    }

    fn said(by: &str, why: Option<&str>, until: i64) -> Maintenance {
        Maintenance {
            until: at(until),
            by: Some(by.to_owned()),
            why: why.map(str::to_owned),
            ended: false,
            begun: None,
            dialog: None,
            worked: Vec::new(),
        }
    }

    fn over(until: i64) -> Maintenance {
        Maintenance { by: None, ended: true, begun: Some(at(0)), ..said("", None, until) }
    }

    // Own promise: work is one from its beginning to its end, whatever moved its end meanwhile; each row is what is on
    // record, and since when, until when, whether the end is on record, and how many are named, minutes.
    #[test]
    fn work_is_one_from_its_beginning_to_its_end() {
        let goes_on = |until| Maintenance {
            begun: Some(at(0)),
            dialog: Some(DialogWork::GoesOn),
            ..said("Ana", Some("proof of the wiring of dm1"), until)
        };
        let begun = || said("Ana", Some("proof of the wiring of dm1"), 4);
        for (name, records, expected) in [
            ("none", vec![], vec![]),
            ("under way", vec![(0, begun())], vec![(0, 4, false, 1)]),
            ("it goes on", vec![(0, begun()), (3, goes_on(9))], vec![(0, 9, false, 1)]),
            ("ended early", vec![(0, begun()), (2, over(2))], vec![(0, 2, true, 1)]),
            (
                "its time ran out, and the end was late",
                vec![(0, begun()), (50, over(50))],
                vec![(0, 4, true, 1)],
            ),
            ("two at it", vec![(0, begun()), (1, said("Tom", None, 60))], vec![(0, 60, false, 2)]),
            (
                "one came later than is asked",
                vec![(0, begun()), (3, said("Tom", None, 60))],
                vec![(0, 60, false, 1)],
            ),
            (
                "twice, and no end of the first",
                vec![(0, begun()), (10, said("Tom", None, 20))],
                vec![(0, 4, false, 1), (10, 20, false, 1)],
            ),
            (
                "prolonged after its time had run out",
                vec![(0, begun()), (6, goes_on(9))],
                vec![(0, 4, false, 1), (6, 9, false, 0)],
            ),
            ("its beginning is not there", vec![(3, goes_on(9))], vec![(0, 9, false, 0)]),
            ("an end alone", vec![(3, over(3))], vec![]),
        ] {
            let records: Vec<_> =
                (5..).zip(records).map(|(index, (minute, said))| (index, at(minute), said)).collect();
            let all = WorkThen::all(Some("dm1"), &records, at(2));
            let found: Vec<_> = all
                .iter()
                .map(|work| {
                    let minutes = |at_: Timestamp| (at_.micros() - at(0).micros()) / 60_000_000;
                    (minutes(work.since), minutes(work.until), work.is_over, work.worked.len())
                })
                .collect();
            assert_eq!(found, expected, "{name}");
            assert!(all.first().is_none_or(|first| first.record == 5), "{name}");
        }
    }

    // Own words.
    #[test]
    fn work_of_the_past_says_who_and_when() {
        let work = |is_over| {
            let mut all = WorkThen::all(
                Some("dm1"),
                &[(5, at(0), said("Ana", Some("calibration of dm1/rinse"), 4))],
                at(9),
            );
            all.iter_mut().for_each(|one| one.is_over = is_over);
            all.remove(0)
        };
        for (language, is_over, told) in [
            (Language::English, true, "Ana (calibration of dm1/rinse), since {0}, until {4}"),
            (
                Language::English,
                false,
                "Ana (calibration of dm1/rinse), since {0}; no end is on record, and it counts as worked on until {4}",
            ),
            (Language::Spanish, true, "Ana (calibración de dm1/rinse), desde {0}, hasta {4}"),
            (
                Language::Spanish,
                false,
                "Ana (calibración de dm1/rinse), desde {0}; no consta su fin, y cuenta como en trabajo hasta {4}",
            ),
        ] {
            let reader = Reader { language, scale: Scale::Celsius, zone: TimeZone::UTC };
            let (from, to) = (reader.moment(at(0)), reader.moment(at(4)));
            let expected = told.replace("{0}", &from).replace("{4}", &to);
            assert_eq!(work(is_over).told(&reader), expected);
            assert!(work(is_over).ran(at(4), at(9)) && !work(is_over).ran(at(5), at(9)));
            let nobody = WorkThen { worked: Vec::new(), ..work(true) };
            let somebody = say(language, "somebody, since", "alguien, desde");
            assert!(nobody.told(&reader).starts_with(somebody), "{}", nobody.told(&reader));
        }
    }
}
