//! Mail that is not taken: what each fault means for the letter.
//!
//! Codes by RFC 5321 §4.2.1: 4yz later, 5yz never.

use std::time::Duration;

use rinseward::alert::answer::Answer;
use rinseward::alert::email::Mailer;
use rinseward::config::delivery::{MailLogin, MailSecurity, MailSettings};
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpListener;
use tokio::time::Instant;

use super::mail::{mail, settings};
use super::peer::{Identity, Peer};

/// Whether it is tried again, and what is said.
fn told(answer: &Answer) -> (bool, String) {
    match answer {
        Answer::Later { error, .. } => (true, error.to_string()),
        Answer::Never { error } => (false, error.to_string()),
        Answer::Taken | Answer::Doubtful { .. } | Answer::Closed { .. } => panic!("{answer:?}"),
    }
}

async fn send(settings: MailSettings, to: &str) -> Answer {
    Mailer::prepare(settings, "north").expect("legal settings").send(&mail(to)).await
}

#[tokio::test]
async fn answers_of_the_server() {
    let server = Peer::start("smtp.py", &[]);
    for (to, from, again, part) in [
        ("nobody", "kitchen", false, "at the recipient: «550 5.1.1 no such user"),
        ("later", "kitchen", true, "at the recipient: «451 4.7.1 greylisted"),
        ("spam", "kitchen", false, "at the message: «554 5.7.1 content refused"),
        ("busy", "kitchen", true, "at the message: «451 4.3.0 try again"),
        ("drop", "kitchen", true, "at the message"),
        // A sender that the server does not like is a matter of the configuration, and can be mended.
        ("ana", "outsider", true, "at the sender: «550 5.7.1 not allowed to send as"),
    ] {
        let mut settings = settings(server.port(), MailSecurity::None, None);
        settings.from = format!("{from}@example.org");
        let answer = send(settings, to).await;
        let (later, error) = told(&answer);
        assert_eq!(later, again, "{to}: {error}");
        assert!(error.contains(part), "{to}: {error}");
    }
}

#[tokio::test]
async fn a_slow_server_costs_no_more_than_its_time() {
    let server = Peer::start("smtp.py", &[]);
    let mut settings = settings(server.port(), MailSecurity::None, None);
    settings.timeout = Duration::from_millis(500);
    let since = Instant::now();
    let answer = send(settings.clone(), "slow").await;
    assert_eq!(told(&answer), (true, "localhost: no answer within 500ms, at the recipient".to_owned()));
    assert!(since.elapsed() < Duration::from_secs(5), "{:?}", since.elapsed());

    // One that takes the connection and never greets.
    let mute = TcpListener::bind("127.0.0.1:0").await.expect("loopback");
    settings.host = "127.0.0.1".to_owned();
    settings.port = mute.local_addr().expect("a bound socket").port();
    let answer = send(settings, "ana").await;
    assert_eq!(told(&answer), (true, "127.0.0.1: no answer within 500ms, at the connection".to_owned()));
}

#[tokio::test]
async fn nobody_there() {
    let gone = TcpListener::bind("127.0.0.1:0").await.expect("loopback");
    let port = gone.local_addr().expect("a bound socket").port();
    drop(gone);
    let answer = send(settings(port, MailSecurity::None, None), "ana").await;
    let (later, error) = told(&answer);
    assert!(later && error.contains("Connection refused"), "{error}");

    // RFC 6761 §6.4: .invalid never resolves.
    let mut settings = settings(port, MailSecurity::None, None);
    settings.host = "mail.invalid".to_owned();
    settings.timeout = Duration::from_secs(2);
    let answer = send(settings, "ana").await;
    let (later, error) = told(&answer);
    assert!(later && error.starts_with("no address is known for mail.invalid"), "{error}");
}

#[tokio::test]
async fn certificates_that_do_not_fit() {
    let (ours, elsewhere) = (Identity::of("localhost"), Identity::of("mail.elsewhere.example"));
    let unknown = "localhost: the server's certificate is not signed by an authority trusted here";
    let other = "localhost: the server's certificate is for another host name";
    for (way, security) in [("starttls", MailSecurity::StartTls), ("tls", MailSecurity::Tls)] {
        for (shown, trusted, expected) in [(&ours, &elsewhere, unknown), (&elsewhere, &elsewhere, other)] {
            let server = Peer::start("smtp.py", &[&["--tls", way][..], &shown.args()].concat());
            let answer = send(settings(server.port(), security, Some(trusted)), "ana").await;
            assert_eq!(told(&answer), (true, expected.to_owned()), "{way}");
            server.assert_silent();
        }
    }
}

// A server without STARTTLS, or one in the middle that strips it (RFC 3207 §6), gets nothing.
#[tokio::test]
async fn without_encryption_nothing_is_said() {
    let identity = Identity::of("localhost");
    let server = Peer::start("smtp.py", &[]);
    let answer = send(settings(server.port(), MailSecurity::StartTls, Some(&identity)), "ana").await;
    assert_eq!(told(&answer), (true, "localhost: it offers no STARTTLS, and nothing was sent".to_owned()));
    let mut settings = settings(server.port(), MailSecurity::Tls, Some(&identity));
    settings.timeout = Duration::from_secs(2);
    let answer = send(settings, "ana").await;
    let (later, error) = told(&answer);
    assert!(later, "{error}");
    server.assert_silent();
}

/// Reads up to the end of a line; an end of the connection is an empty one.
async fn line(stream: &mut (impl AsyncRead + Unpin)) -> String {
    let mut text = String::new();
    while !text.ends_with('\n') {
        match stream.read_u8().await {
            Ok(byte) => text.push(char::from(byte)),
            Err(_) => break,
        }
    }
    text
}

// CVE-2011-0411 turned on the client: answers put into the open part must not count as said under encryption.
#[tokio::test]
async fn words_put_before_the_encryption_do_not_count() {
    let identity = Identity::of("localhost");
    for (agreed, expected) in [
        ("220 go\r\n250 injected.example\r\n", Some("put words between STARTTLS and encryption")),
        ("220 go\r\n", None),
        ("454 not now\r\n", Some("454 not now")),
    ] {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("loopback");
        let mut settings = settings(
            listener.local_addr().expect("a bound socket").port(),
            MailSecurity::StartTls,
            Some(&identity),
        );
        settings.timeout = Duration::from_secs(5);
        let acceptor = identity.acceptor();
        let server = async {
            let (mut tcp, _) = listener.accept().await.expect("a client");
            tcp.write_all(b"220 sink.example\r\n").await.expect("it listens");
            assert_eq!(line(&mut tcp).await, "EHLO gateway.example.org\r\n");
            tcp.write_all(b"250-sink.example\r\n250 STARTTLS\r\n").await.expect("it listens");
            assert_eq!(line(&mut tcp).await, "STARTTLS\r\n");
            tcp.write_all(agreed.as_bytes()).await.expect("it listens");
            // What the client does after that: nothing, or a handshake and EHLO.
            match acceptor.accept(tcp).await {
                Ok(mut tls) => line(&mut tls).await,
                Err(_) => String::new(),
            }
        };
        let (answer, heard) = tokio::join!(send(settings, "ana"), server);
        let (later, error) = told(&answer);
        assert!(later, "{error}");
        match expected {
            Some(part) => {
                assert!(error.contains(part), "{error}");
                assert_eq!(heard, "", "nothing is said");
            }
            None => assert_eq!(heard, "EHLO gateway.example.org\r\n"),
        }
    }
}

#[tokio::test]
async fn logins_that_are_refused() {
    let identity = Identity::of("localhost");
    let login =
        |text| MailLogin { user: "kitchen".to_owned(), password_file: identity.secret("password", text) };
    let args =
        [&["--tls", "tls", "--user", "kitchen", "--password", "right horse"][..], &identity.args()].concat();
    let server = Peer::start("smtp.py", &args);
    let mut settings = settings(server.port(), MailSecurity::Tls, Some(&identity));
    settings.login = Some(login("wrong horse"));
    let answer = send(settings.clone(), "ana").await;
    let (later, error) = told(&answer);
    assert!(later && error.contains("at the login") && error.contains("535"), "{error}");
    assert!(!error.contains("horse"), "no password in an error: {error}");

    // Mended, it leaves.
    settings.login = Some(login("right horse"));
    assert_eq!(send(settings.clone(), "ana").await, Answer::Taken);
    server.next("the message");

    // Without a login the server wants one.
    settings.login = None;
    let answer = send(settings.clone(), "ana").await;
    let (later, error) = told(&answer);
    assert!(later && error.contains("530"), "{error}");
}
