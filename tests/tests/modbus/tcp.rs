//! Modbus over TCP: who pays for a new connection after a unit did not answer.

use std::io::{Read as _, Write as _};
use std::net::{TcpListener, TcpStream};
use std::sync::mpsc;
use std::thread;
use std::time::Duration;

use rinseward::config::modbus::ModbusLink;
use rinseward::core::reading::{Fault, Value};
use rinseward::probe::SourceState;
use rinseward::probe::modbus::link::{Ask, AskError, Link};
use rinseward::wire::registers::{Function, RegisterType};

use super::listener::{Listener, ms, register, unit, with_link};

/// Longest that anything here may take on a busy machine.
const PATIENCE: Duration = Duration::from_secs(30);

/// A gateway behind which unit 1 has 700 in each register and the others are dead. It takes so many
/// connections, and tells of each.
fn gateway(connections: usize) -> (ModbusLink, mpsc::Receiver<usize>) {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    let port = listener.local_addr().expect("its own address").port();
    let (tell, after) = mpsc::channel();
    thread::spawn(move || {
        for number in 1..=connections {
            let Ok((stream, _)) = listener.accept() else { return };
            if tell.send(number).is_err() {
                // The test has ended.
                return;
            }
            thread::spawn(move || serve(stream));
        }
    });
    (ModbusLink::Tcp { host: "127.0.0.1".to_owned(), port }, after)
}

/// Frames of MODBUS Messaging on TCP/IP Implementation Guide V1.0b §3.1.3: transaction, protocol and
/// length, two bytes each, then unit, function and data.
fn serve(mut stream: TcpStream) {
    let mut request = [0; 12];
    while stream.read_exact(&mut request).is_ok() {
        let [t0, t1, _, _, _, _, unit, function, _, _, _, count] = request;
        if unit == 1 {
            let mut answer = vec![t0, t1, 0, 0, 0, 3 + 2 * count, unit, function, 2 * count];
            (0..count).for_each(|_| answer.extend(700_u16.to_be_bytes()));
            if stream.write_all(&answer).is_err() {
                return;
            }
        }
    }
}

fn ask(unit: u8) -> Ask {
    Ask { unit, function: Function::Holding, first: 0, count: 1, time_out: ms(300) }
}

// Own promise: the next unit finds a connection that is there already.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn whoever_does_not_answer_pays_for_the_new_connection() {
    let (settings, after) = gateway(8);
    let mut link = Link::open(&settings).await.expect("it listens");
    assert_eq!(after.recv_timeout(PATIENCE), Ok(1));
    assert_eq!(link.ask(ask(1)).await, Ok(vec![700]));
    assert_eq!(link.ask(ask(2)).await, Err(AskError::Silent));
    assert_eq!(after.recv_timeout(PATIENCE), Ok(2), "before anybody else is asked");
    assert_eq!(link.lost(), None);
    assert_eq!(link.ask(ask(1)).await, Ok(vec![700]));
    assert!(after.try_recv().is_err(), "by the connection that is there");
    let cost = Link::cost(&settings, &ask(2));
    assert_eq!(cost, ms(600), "its time-out, and as long for the new connection");
}

// A gateway that takes no second connection is gone for all its units, which are told so at once, and not
// one after the other, each late by the time that a connection may take.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_gateway_that_takes_no_new_connection_is_gone() {
    let (settings, after) = gateway(1);
    let units = vec![
        unit(1, vec![register(10, 3, 0, RegisterType::U16, 0.1)]),
        unit(2, vec![register(20, 3, 0, RegisterType::U16, 0.1)]),
    ];
    let mut listener = Listener::start(with_link(settings, units));
    assert!(matches!(listener.state().await, SourceState::Up));
    assert_eq!(after.recv_timeout(PATIENCE), Ok(1));
    // The listening socket is closed after the one connection: the next one is refused.
    let state = listener.state().await;
    let SourceState::Down { cause } = state else { panic!("{state:?}") };
    assert!(cause.contains("takes no new connection"), "{cause}");
    assert_eq!(listener.with(10).await[&10], Value::Fault(Fault::Silent));
}
