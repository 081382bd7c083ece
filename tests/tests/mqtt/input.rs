//! Messages that nobody should have sent.

use rinseward::config::source::MqttVersion::{self, V5, V311};
use rinseward::config::source::{Payload, Subscription};
use rinseward::wire::refusal::RefusedBecause;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpListener;

use super::broker::Broker;
use super::gateway::{Commit, Gateway, VERSIONS, config, limits, numbered, publish, publish_retained};

/// A message over the limit ends nothing: MQTT 5 brokers drop it themselves
/// (MQTT 5.0 §3.1.2.11.4), with 3.1.1 the gateway lets it pass by.
#[tokio::test]
async fn skips_a_message_that_is_too_large() {
    for (version, refused) in VERSIONS.into_iter().zip([0, 1]) {
        let broker = Broker::start();
        let config = config(broker.port(), version);
        drop(Gateway::up(&config, Commit::AtOnce).await.stop().await);
        publish(broker.port(), numbered(0..10)).await;
        publish(broker.port(), [("probes/dm1", "x".repeat(60_000))]).await;
        publish(broker.port(), numbered(10..20)).await;

        let gateway = Gateway::up(&config, Commit::AtOnce).await;
        gateway.until("all arrived", |seen| seen.has_all(20)).await;
        let seen = gateway.stop().await;
        assert_eq!(seen.refused(RefusedBecause::TooLong), refused, "{version:?}");
        assert_eq!(seen.ups(), 1, "the link held, {version:?}");

        let gateway = Gateway::up(&config, Commit::AtOnce).await;
        publish(broker.port(), numbered(20..21)).await;
        gateway.until("the next arrived", |seen| seen.numbers.contains(&20)).await;
        assert!(gateway.stop().await.refusals.is_empty(), "it was acknowledged, {version:?}");
    }
}

#[tokio::test]
async fn passes_over_what_it_cannot_read() {
    for version in VERSIONS {
        let broker = Broker::start();
        let config = config(broker.port(), version);
        let gateway = Gateway::up(&config, Commit::AtOnce).await;
        let bad = ["", "{", "[{\"n\":", "\u{FFFF}\u{0}", "1e999"];
        let messages = (0..100).map(|number| {
            let payload = bad.get(usize::try_from(number).expect("positive") % 20).copied();
            ("probes/dm1", payload.map_or_else(|| number.to_string(), str::to_owned))
        });

        publish(broker.port(), messages).await;

        gateway.until("all arrived", |seen| seen.numbers.contains(&99)).await;
        let seen = gateway.stop().await;
        assert_eq!((seen.numbers.len(), seen.refusals.len()), (75, 25), "{version:?}");

        let gateway = Gateway::up(&config, Commit::AtOnce).await;
        publish(broker.port(), numbered(100..101)).await;
        gateway.until("the next arrived", |seen| seen.numbers.contains(&100)).await;
        assert!(gateway.stop().await.refusals.is_empty(), "they were acknowledged, {version:?}");
    }
}

/// A broker may have kept a retained value for weeks.
#[tokio::test]
async fn refuses_a_retained_value_without_its_own_time() {
    for version in VERSIONS {
        let broker = Broker::start();
        publish_retained(broker.port(), "probes/bare", "now").await;
        publish_retained(broker.port(), "probes/timed", "7").await;

        let gateway = Gateway::up(&config(broker.port(), version), Commit::AtOnce).await;

        let both = gateway.until("both arrived", |seen| seen.numbers.len() + seen.refusals.len() == 2).await;
        assert_eq!(both.numbers, [7], "{version:?}");
        assert_eq!(both.refused(RefusedBecause::UnknownAge), 1, "{version:?}");
        publish(broker.port(), [("probes/bare", "now".to_owned())]).await;
        gateway.until("a live value arrived", |seen| seen.numbers.len() == 2).await;
        drop(gateway.stop().await);
    }
}

/// What is sent again may be from before the gateway was restarted.
#[tokio::test]
async fn refuses_a_repeat_without_its_own_time() {
    for version in VERSIONS {
        let broker = Broker::start();
        let config = config(broker.port(), version);
        let gateway = Gateway::up(&config, Commit::ByHand).await;
        publish(broker.port(), [("probes/dm1", "now".to_owned()), ("probes/dm1", "7".to_owned())]).await;
        gateway.until("both arrived", |seen| seen.numbers.len() == 2).await;
        gateway.vanish().await;

        let gateway = Gateway::up(&config, Commit::AtOnce).await;
        let both =
            gateway.until("both came again", |seen| seen.numbers.len() + seen.refusals.len() == 2).await;
        assert_eq!(both.numbers, [7], "{version:?}");
        assert_eq!(both.refused(RefusedBecause::UnknownAge), 1, "{version:?}");
        drop(gateway.stop().await);
    }
}

/// Collected by the broker they would all seem measured when the gateway comes back.
#[tokio::test]
async fn leaves_no_values_without_a_time_at_the_broker() {
    for version in VERSIONS {
        let broker = Broker::start();
        let mut config = config(broker.port(), version);
        let payload = Payload::Bare { channel: "dm1/rinse".to_owned() };
        config.subscriptions.push(Subscription { filter: "bare/#".to_owned(), payload });
        drop(Gateway::up(&config, Commit::AtOnce).await.stop().await);

        publish(broker.port(), [("bare/dm1", "now".to_owned()), ("probes/dm1", "7".to_owned())]).await;

        let gateway = Gateway::up(&config, Commit::AtOnce).await;
        publish(broker.port(), [("bare/dm1", "8".to_owned())]).await;
        gateway.until("the live value arrived", |seen| seen.numbers.contains(&8)).await;
        assert_eq!(gateway.stop().await.numbers, [7, 8], "{version:?}");
    }
}

/// Messages at QoS 2, collected for a subscription that was there before.
#[tokio::test]
async fn empties_an_older_subscription_at_qos_2() {
    for version in VERSIONS {
        let broker = Broker::start();
        super::gateway::subscribe_once(broker.port(), "gateway").await;
        super::gateway::publish_exactly_once(broker.port(), 5).await;

        let config = config(broker.port(), version);
        let gateway = Gateway::up(&config, Commit::AtOnce).await;
        gateway.until("all arrived", |seen| seen.has_all(5)).await;
        publish(broker.port(), numbered(5..6)).await;
        gateway.until("the next arrived", |seen| seen.has_all(6)).await;
        drop(gateway.stop().await);

        let gateway = Gateway::up(&config, Commit::AtOnce).await;
        publish(broker.port(), numbered(6..7)).await;
        gateway.until("the next arrived", |seen| seen.numbers.contains(&6)).await;
        assert_eq!(gateway.stop().await.numbers, [6], "{version:?}");
    }
}

/// What answers may be no broker, a broken one, or one that wants nobody; each
/// is told, and tried again. Packets: MQTT 5.0 §3.2, §3.9; 3.1.1 the same.
#[tokio::test]
async fn survives_whatever_answers() {
    let not_packets = "the broker sent something that is not understood";
    let no_broker = "what answers at this port does not speak MQTT";
    let rows: [(MqttVersion, &[u8], &str); 10] = [
        (V5, b"", "the broker closed the connection and did not say why"),
        (V311, b"HTTP/1.1 400 Bad Request\r\n\r\n", no_broker),
        (V5, b"SSH-2.0-x\r\n", no_broker),
        (V5, &[0x20, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF], not_packets),
        (V5, &[0x20, 0xFF, 0xFF, 0xFF, 0x7F], not_packets),
        (V311, &[0x20, 2, 0, 0, 0x20, 2, 0, 0], "the broker does not keep to the order of the protocol"),
        (V311, &[0x20, 2, 0, 5], "the broker refuses the connection: not authorized"),
        (V311, &[0x20, 2, 0, 0, 0x90, 3, 0, 1, 0x80], "the broker refuses every subscription"),
        (V5, &[0x20, 3, 0, 0, 0, 0x90, 4, 0, 1, 0, 0x87], "the broker refuses every subscription"),
        (V5, &[0x20, 3, 0, 0, 0, 0xE0, 1, 0x8E], "the broker ended the connection: another client"),
    ];
    for (version, answer, expected) in rows {
        let listener = TcpListener::bind(("127.0.0.1", 0)).await.expect("loopback");
        let port = listener.local_addr().expect("a bound socket").port();
        let server = tokio::spawn(async move {
            loop {
                let (mut stream, _) = listener.accept().await.expect("loopback");
                // A client that has left already is no fault of this server.
                drop(stream.write_all(answer).await);
                drop(stream.shutdown().await);
                drop(stream.read_to_end(&mut Vec::new()).await);
            }
        });
        let gateway = Gateway::start(&config(port, version), Commit::AtOnce, limits());
        let seen = gateway.until("it is told", |seen| seen.last_cause().is_some()).await;
        let cause = seen.last_cause().expect("a cause");
        assert!(cause.starts_with(expected), "{version:?} {answer:02x?}: {cause}");
        drop(gateway.stop().await);
        server.abort();
    }
}
