//! The interface for programs, at the running gateway: who is let in, and how a refusal is told.

use rinseward::core::access::Right;
use rinseward::core::record::{AccessDeed, AccessRefusal};
use serde_json::Value;

use super::browser::{Answer, Browser};
use super::gateway::{Gateway, Site, member};

/// What answers to this token.
fn program(gateway: &Gateway, secret: &str) -> Browser {
    let mut program = gateway.browser();
    program.also.push(("authorization", format!("Bearer {secret}")));
    program
}

/// The problem that an answer is.
fn problem(answer: &Answer) -> Value {
    assert_eq!(answer.header("content-type"), "application/problem+json", "{}", answer.body);
    let problem: Value = serde_json::from_str(&answer.body).expect("JSON");
    assert_eq!(problem["status"], answer.status, "{problem}");
    assert!(problem["detail"].as_str().is_some_and(|detail| !detail.is_empty()), "{problem}");
    problem
}

// RFC 9457 §3 for the members, RFC 6750 §3 for the challenge. Each refusal is told alike, whoever
// makes it: the gate, the route, or the interface itself.
#[tokio::test(flavor = "multi_thread")]
async fn every_refusal_is_a_problem() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    let look = site.token("look", "auditor");
    for path in ["/api/v1/cycles", "/api/v1/nowhere", "/metrics"] {
        let answer = program(&gateway, "rinseward_forged").get(path).await;
        assert_eq!(
            (answer.status, answer.header("www-authenticate")),
            (401, "Bearer error=\"invalid_token\"")
        );
        assert_eq!(problem(&answer)["type"], "urn:rinseward:problem:api-access");
    }
    let answer = gateway.browser().get("/api/v1/cycles").await;
    assert_eq!((answer.status, answer.header("www-authenticate")), (401, "Bearer"));
    problem(&answer);

    let mut auditor = program(&gateway, &look);
    assert_eq!(auditor.get("/api/v1/whoami").await.status, 200);
    for (path, status) in
        [("/api/v1/nowhere", 404), ("/api/v1/cycles?limit=0", 422), ("/api/v1/cycles/9999", 404)]
    {
        let answer = auditor.get(path).await;
        assert_eq!(answer.status, status, "{path}");
        problem(&answer);
    }
    let answer = auditor.post_with("/api/v1/checks", &[], &[]).await;
    assert_eq!(answer.status, 403);
    assert!(problem(&answer)["do"].as_str().is_some_and(|advice| advice.contains("operator")));
    let refused = site.until_told("token look", &AccessDeed::Refused(AccessRefusal::NotAllowed));
    assert_eq!(refused.right, Some(Right::Enter));

    let long = "a".repeat(70_000);
    let answer = auditor.post_with("/api/v1/checks", &[("note", &long)], &[]).await;
    assert_eq!(answer.status, 413);
    assert!(problem(&answer)["do"].as_str().is_some_and(|advice| advice.contains("less")));

    let answer =
        gateway.browser().post_with("/api/v1/checks", &[], &[("sec-fetch-site", "cross-site")]).await;
    assert_eq!(answer.status, 403);
    problem(&answer);
    site.until_told("?", &AccessDeed::Refused(AccessRefusal::Foreign));
    gateway.stop();
}

// A token may be called as an account is: it is somebody else all the same, at the pages and on record.
#[tokio::test(flavor = "multi_thread")]
async fn a_token_is_not_the_account_that_is_called_alike() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    let mut ana = member(&site, &gateway, "ana", "auditor").await;
    let mut token = program(&gateway, &site.token("ana", "auditor"));
    let days = [("from", "2020-01-01"), ("to", "2099-12-31"), ("form", "csv")];
    let begun = ana.post("/history/exports", &days).await;
    assert_eq!(begun.status, 303, "{}", begun.body);
    let job = format!("/history/{}", begun.location());
    assert_eq!(ana.get(&job).await.status, 200, "{job}");
    assert_eq!(token.get(&job).await.status, 404, "{job}");
    assert_eq!(token.get(&format!("{job}/file")).await.status, 404);
    token.post(&format!("{job}/end"), &[]).await;
    assert_eq!(ana.get(&job).await.status, 200, "it is hers to end");
    let me: Value = serde_json::from_str(&token.get("/api/v1/whoami").await.body).expect("JSON");
    assert_eq!(me["account"], "token ana");
    assert_eq!(token.get("/maintenance").await.status, 403);
    let refused = site.until_told("token ana", &AccessDeed::Refused(AccessRefusal::NotAllowed));
    assert_eq!(refused.right, Some(Right::Maintain));
    let hers = site.events().into_iter().filter(|event| event.account == "ana");
    assert!(
        hers.into_iter().all(|event| event.what != AccessDeed::Refused(AccessRefusal::NotAllowed)),
        "what the token did does not stand against her"
    );
    gateway.stop();
}

// Figures name machines and probes: they are for whoever may look. A proxy on the same computer that hides what it
// is cannot be told from a watcher there, so that nearness opens nothing.
#[tokio::test(flavor = "multi_thread")]
async fn figures_are_for_tokens_and_vitals_for_everybody() {
    let site = Site::new("");
    let gateway = Gateway::start(&site);
    let answer = gateway.browser().get("/metrics").await;
    assert_eq!(answer.status, 401, "{}", answer.body);
    problem(&answer);
    let answer = program(&gateway, &site.token("watch", "auditor")).get("/metrics").await;
    assert_eq!((answer.status, answer.body.ends_with("# EOF\n")), (200, true), "{}", answer.body);
    for path in ["/health", "/ready"] {
        let answer = gateway.browser().get(path).await;
        // A watcher whose token has expired must not take the gateway for dead.
        assert_eq!(program(&gateway, "rinseward_forged").get(path).await.status, answer.status, "{path}");
        let told: Value = serde_json::from_str(&answer.body).expect("JSON");
        assert!(matches!(answer.status, 200 | 503) && told.is_object(), "{path}: {told}");
    }
    gateway.stop();
}
