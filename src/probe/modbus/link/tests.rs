use tokio::io::{AsyncReadExt, AsyncWriteExt};

use super::*;
use crate::config::source::Parity;

/// Longest that anything here may take on a busy machine.
const PATIENCE: Duration = Duration::from_secs(30);
/// Read multiple input registers, two of them (MODBUS Application Protocol V1.1b3 §6.4).
const A: Ask =
    Ask { unit: 7, function: Function::Input, first: 0, count: 2, time_out: Duration::from_millis(300) };
/// As long, from another register on.
const B: Ask = Ask { first: 8, ..A };

/// The end of a line that units sit at.
struct Units(SerialStream);

impl Units {
    /// A line, and its other end.
    fn on_a_line() -> (Link, Self) {
        let (ours, theirs) = SerialStream::pair().expect("a pseudo-terminal");
        let line = ModbusLine {
            device: "/dev/null".into(),
            baud: 115_200,
            parity: Parity::None,
            stop_bits: 1,
            turnaround: Duration::ZERO,
        };
        let open = Open::Line { line: Handle::new(ours), last: Instant::now() };
        (Link { settings: ModbusLink::Rtu(line), open, late: Late::default(), doubts: true }, Self(theirs))
    }

    /// Waits for the next request; gives its first register.
    async fn asked(&mut self) -> u16 {
        let mut request = [0; REQUEST_BYTES];
        let read = timeout(PATIENCE, self.0.read_exact(&mut request)).await;
        read.expect("it asks in time").expect("the line holds");
        u16::from_be_bytes([request[2], request[3]])
    }

    async fn say(&mut self, bytes: &[u8]) {
        self.0.write_all(bytes).await.expect("the line holds");
    }
}

/// Two input registers of a unit; the check at its end is the one that is tried in [`super::super::late`].
fn two_words(unit: u8, words: [u16; 2]) -> Vec<u8> {
    let [one, other] = words.map(u16::to_be_bytes);
    let body = [unit, 4, 4, one[0], one[1], other[0], other[1]];
    [&body[..], &super::super::late::crc(&body).to_le_bytes()].concat()
}

// MODBUS over Serial Line V1.02 §2.4.1: a frame does not say which request it answers. That of another unit before
// it makes the first look fail.
#[tokio::test]
async fn a_late_answer_behind_another_frame_is_none_to_the_next_request() {
    let (mut link, mut units) = Units::on_a_line();
    let (answer, first) = tokio::join!(link.ask(A), units.asked());
    assert_eq!((answer, first), (Err(AskError::Silent), A.first));
    let late = [two_words(9, [1, 2]), two_words(A.unit, [111, 112])].concat();
    let (answer, ()) = tokio::join!(link.ask(B), async {
        assert_eq!(units.asked().await, B.first);
        units.say(&late).await;
    });
    assert_eq!(answer, Err(AskError::Silent), "those are the words of another register");
    assert_eq!(link.late(), BTreeSet::from([A.unit]));
    // That request has no answer either so far: the next one may be its.
    for expected in [Err(AskError::Silent), Ok(vec![811, 812])] {
        let (answer, ()) = tokio::join!(link.ask(B), async {
            assert_eq!(units.asked().await, B.first);
            units.say(&two_words(B.unit, [811, 812])).await;
        });
        assert_eq!(answer, expected);
    }
}

// The same, without anything before it: which request it answers nobody can say, so that it is no answer. Nor is one
// to the very same request, whose values are of another time; and what is left over is none to the next one.
#[tokio::test]
async fn no_answer_right_after_a_miss_is_read_for_its_values() {
    for next in [A, B] {
        let (mut link, mut units) = Units::on_a_line();
        let (answer, _) = tokio::join!(link.ask(A), units.asked());
        assert_eq!(answer, Err(AskError::Silent));
        let (answer, ()) = tokio::join!(link.ask(next), async {
            assert_eq!(units.asked().await, next.first);
            units.say(&two_words(A.unit, [111, 112])).await;
        });
        assert_eq!(answer, Err(AskError::Silent), "it may be the answer to the request before");
        // Its own comes while nobody asks.
        units.say(&two_words(A.unit, [211, 212])).await;
        let (answer, ()) = tokio::join!(link.ask(B), async {
            assert_eq!(units.asked().await, B.first);
            units.say(&two_words(B.unit, [811, 812])).await;
        });
        assert_eq!(answer, Ok(vec![811, 812]));
        assert_eq!(link.late(), BTreeSet::new(), "nobody knows whether it was late");
    }
}
