//! Who ends when: the gateway, the broker, the session.

use super::broker::Broker;
use super::gateway::{Commit, Gateway, VERSIONS, config, limits, numbered, publish};
use rinseward::probe::mqtt::Limits;
use std::time::Duration;

#[tokio::test]
async fn delivers_in_order() {
    for version in VERSIONS {
        let broker = Broker::start();
        let gateway = Gateway::up(&config(broker.port(), version), Commit::AtOnce).await;

        publish(broker.port(), numbered(0..500)).await;

        gateway.until("all arrived", |seen| seen.numbers.len() == 500).await;
        let seen = gateway.stop().await;
        assert_eq!(seen.numbers, (0..500).collect::<Vec<_>>(), "{version:?}");
        assert!(seen.refusals.is_empty(), "{version:?}");
    }
}

/// QoS 1 is acknowledged after the commit and not before: what was delivered
/// but not committed comes again (MQTT 5.0 §4.4).
#[tokio::test]
async fn acknowledges_after_the_commit() {
    for version in VERSIONS {
        let broker = Broker::start();
        let config = config(broker.port(), version);
        let gateway = Gateway::up(&config, Commit::ByHand).await;
        publish(broker.port(), numbered(0..20)).await;
        gateway.until("all arrived", |seen| seen.has_all(20)).await;
        gateway.vanish().await;

        let gateway = Gateway::up(&config, Commit::AtOnce).await;
        gateway.until("all came again", |seen| seen.has_all(20)).await;
        drop(gateway.stop().await);

        let gateway = Gateway::up(&config, Commit::AtOnce).await;
        publish(broker.port(), numbered(20..21)).await;
        gateway.until("the next arrived", |seen| seen.numbers.contains(&20)).await;
        let seen = gateway.stop().await;
        assert_eq!(seen.numbers, [20], "what was committed does not come a third time, {version:?}");
    }
}

/// A stop waits for the commits of what was delivered.
#[tokio::test]
async fn acknowledges_before_it_leaves() {
    for version in VERSIONS {
        let broker = Broker::start();
        let config = config(broker.port(), version);
        let gateway = Gateway::up(&config, Commit::ByHand).await;
        publish(broker.port(), numbered(0..20)).await;
        gateway.until("all arrived", |seen| seen.has_all(20)).await;
        let commit = gateway.commit_once_stopping();
        drop(gateway.stop().await);
        commit.await.expect("the commit does not panic");

        let gateway = Gateway::up(&config, Commit::AtOnce).await;
        publish(broker.port(), numbered(20..21)).await;
        gateway.until("the next arrived", |seen| seen.numbers.contains(&20)).await;
        assert_eq!(gateway.stop().await.numbers, [20], "{version:?}");
    }
}

#[tokio::test]
async fn broker_collects_while_the_gateway_is_away() {
    for version in VERSIONS {
        let broker = Broker::start();
        let config = config(broker.port(), version);
        drop(Gateway::up(&config, Commit::AtOnce).await.stop().await);

        // More than the 1,000 that Mosquitto keeps by its own settings.
        publish(broker.port(), numbered(0..1100)).await;

        let gateway = Gateway::up(&config, Commit::AtOnce).await;
        gateway.until("all arrived", |seen| seen.has_all(1100)).await;
        drop(gateway.stop().await);
    }
}

#[tokio::test]
async fn survives_a_restart_of_the_broker() {
    for version in VERSIONS {
        let mut broker = Broker::start();
        let gateway = Gateway::up(&config(broker.port(), version), Commit::ByHand).await;
        publish(broker.port(), numbered(0..100)).await;
        gateway.until("all arrived", |seen| seen.has_all(100)).await;

        broker.stop();
        gateway.until("the link is down", |seen| seen.last_cause().is_some()).await;
        // These belong to the connection that is gone.
        gateway.commit();
        broker.restart();
        gateway.until("the link is up again", |seen| seen.ups() == 2).await;
        publish(broker.port(), numbered(100..200)).await;

        gateway.until("all arrived", |seen| seen.has_all(200)).await;
        gateway.commit();
        drop(gateway.stop().await);
    }
}

/// With Mosquitto's own settings none of these would come back. It acknowledges
/// just before it writes, so that the kill waits for the last to be written.
#[tokio::test]
async fn survives_a_killed_broker() {
    for version in VERSIONS {
        let mut broker = Broker::start();
        let config = config(broker.port(), version);
        let gateway = Gateway::up(&config, Commit::ByHand).await;
        publish(broker.port(), numbered(0..100)).await;
        gateway.until("all arrived", |seen| seen.has_all(100)).await;
        gateway.vanish().await;
        publish(broker.port(), numbered(100..299)).await;
        publish(broker.port(), [("probes/dm1", "299 the last".to_owned())]).await;

        broker.until_saved(b"299 the last");
        broker.kill();
        broker.restart();

        let gateway = Gateway::up(&config, Commit::AtOnce).await;
        gateway.until("all arrived", |seen| seen.has_all(300)).await;
        drop(gateway.stop().await);
    }
}

/// A broker that hangs keeps its socket open; only the missing answer tells.
#[tokio::test]
async fn notices_a_broker_that_hangs() {
    for version in VERSIONS {
        let broker = Broker::start();
        let mut config = config(broker.port(), version);
        config.keep_alive = Duration::from_secs(1);
        let limits = Limits { answer_max: Duration::from_millis(300), ..limits() };
        let gateway = Gateway::start(&config, Commit::AtOnce, limits);
        gateway.until("the link is up", |seen| seen.ups() > 0).await;

        broker.freeze();
        let seen = gateway.until("it is noticed", |seen| seen.last_cause().is_some()).await;
        assert_eq!(seen.last_cause(), Some("the broker does not answer"), "{version:?}");
        broker.thaw();

        gateway.until("the link is up again", |seen| seen.ups() == 2).await;
        publish(broker.port(), numbered(0..10)).await;
        gateway.until("all arrived", |seen| seen.has_all(10)).await;
        drop(gateway.stop().await);
    }
}

#[tokio::test]
async fn subscribes_again_when_the_session_is_lost() {
    for version in VERSIONS {
        let mut broker = Broker::start();
        let gateway = Gateway::up(&config(broker.port(), version), Commit::AtOnce).await;

        broker.stop();
        broker.wipe();
        broker.restart();
        gateway.until("the link is up again", |seen| seen.ups() == 2).await;
        publish(broker.port(), numbered(0..10)).await;

        gateway.until("all arrived", |seen| seen.has_all(10)).await;
        drop(gateway.stop().await);
    }
}

/// At the limit reading rests; then the link is dropped, and resumed after the commit.
#[tokio::test]
async fn holds_no_more_than_it_may() {
    for version in VERSIONS {
        let broker = Broker::start();
        let mut config = config(broker.port(), version);
        config.unacked_max = 50;
        let limits = Limits { stall_max: Duration::from_millis(300), ..limits() };
        let gateway = Gateway::start(&config, Commit::ByHand, limits);
        gateway.until("the link is up", |seen| seen.ups() > 0).await;

        publish(broker.port(), numbered(0..500)).await;

        let seen = gateway.until("the link is dropped", |seen| seen.last_cause().is_some()).await;
        assert_eq!(seen.numbers, (0..50).collect::<Vec<_>>(), "{version:?}");
        assert_eq!(seen.last_cause(), Some("readings arrive faster than they are stored"), "{version:?}");
        gateway.commit_from_now();
        gateway.until("all arrived", |seen| seen.has_all(500)).await;
        drop(gateway.stop().await);
    }
}
