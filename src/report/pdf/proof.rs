//! The checkpoint, how to verify the file on another computer, and what could hurt somebody.

use super::sheet::{Attachment, Tone};
use super::tell::Teller;
use super::words::Word;
use super::{ACCOUNT, Attached, Block, CYCLES, Draft, EVIDENCE};
use crate::core::evidence::JSON_LINES;

/// What an attached file is; absent for a name that no report has.
pub(super) fn attachment(teller: &Teller, name: &str) -> Option<Attachment> {
    let (media, holds) = match name {
        CYCLES => ("text/csv", Word::HoldsCycles),
        EVIDENCE => (JSON_LINES, Word::HoldsEvidence),
        ACCOUNT => ("application/json", Word::HoldsAccount),
        _ => return None,
    };
    Some(Attachment { name: name.to_owned(), media, description: teller.say(holds) })
}

impl Draft<'_> {
    pub(super) fn proof(&mut self, attached: &[Attached<'_>]) {
        let teller = self.teller;
        self.section(Word::ProofHeading);
        match &self.account.seal {
            Some(seal) => {
                self.heading(2, teller.say(Word::CheckpointHeading));
                self.text(Tone::Small, teller.say(Word::CheckpointText));
                self.code(&seal.checkpoint);
                self.heading(2, teller.say(Word::KeyHeading));
                self.text(Tone::Small, teller.say(Word::KeyText));
                self.code(&seal.key);
                self.steps();
            }
            None => self.text(Tone::Framed, teller.say(Word::UnsealedText)),
        }
        self.heading(2, teller.say(Word::AttachmentsHeading));
        let columns = vec![self.narrow(Word::File), self.wide(Word::Holds, 1), self.number(Word::Size)];
        let row = |file: &Attached<'_>| {
            let known = attachment(teller, file.name)?;
            Some(vec![known.name, known.description.to_owned(), size(file.bytes)])
        };
        let rows = attached.iter().filter_map(row).collect();
        self.table(columns, rows);
        self.text(Tone::Small, teller.say(Word::Replaced));
    }

    fn code(&mut self, text: &str) {
        // Each line by itself: only the line ends are ours, whatever else stands in it.
        let lines: Vec<String> =
            text.trim_end().lines().map(|line| line.chars().filter(|c| !c.is_control()).collect()).collect();
        self.blocks.push(Block::Code { text: lines.join("\n") });
    }

    fn steps(&mut self) {
        let teller = self.teller;
        self.heading(2, teller.say(Word::StepsHeading));
        let step = |word: Word, command: &str| (teller.say(word).to_owned(), command.to_owned());
        let detached = format!(
            "pdfdetach -saveall report.pdf\nrinseward verify {CYCLES} --with {EVIDENCE} --key site.verify-key"
        );
        let steps = vec![
            step(Word::StepSave, ""),
            step(Word::StepVerify, "rinseward verify report.pdf --key site.verify-key"),
            step(Word::StepExit, ""),
            step(Word::StepDetach, &detached),
            step(
                Word::StepEarlier,
                "rinseward verify report.pdf --key site.verify-key --checkpoint kept.txt",
            ),
            step(Word::StepKeep, "rinseward checkpoint > kept.txt"),
            step(Word::StepPaper, ""),
        ];
        self.blocks.push(Block::Steps { steps });
    }

    pub(super) fn cautions(&mut self) {
        let teller = self.teller;
        self.section(Word::CautionHeading);
        // Times of deep burns: burn-prevention tables for adults, 5 s at 60 °C and 1 s at 68 °C.
        let (at60, at68) = (teller.reader.temperature(60.0), teller.reader.temperature(68.0));
        let scald = teller.with(Word::CautionScald, &[("at60", &at60), ("at68", &at68)]);
        let lines = [Word::CautionChlorine, Word::CautionMains, Word::CautionPlumbing, Word::AidText];
        let lines = lines.into_iter().map(|word| teller.say(word).to_owned());
        self.blocks.push(Block::Caution { lines: std::iter::once(scald).chain(lines).collect() });
    }
}

/// A size for people, in the units of IEC 80000-13.
fn size(bytes: u64) -> String {
    let kib = bytes as f64 / 1024.0;
    if bytes < 1024 {
        format!("{bytes} B")
    } else if kib < 1024.0 {
        format!("{kib:.1} KiB")
    } else {
        format!("{:.1} MiB", kib / 1024.0)
    }
}
