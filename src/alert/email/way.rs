//! The way to the mail server: TCP, and TLS from the first byte or by STARTTLS.
//!
//! STARTTLS is said here and not by the SMTP library, for one reason: whatever
//! the server says in the open after agreeing to it must not count as said
//! under encryption. Somebody on the way could put answers there, and a refused
//! message would pass for taken (CVE-2011-0411 and its kin). Where anything
//! stands between, the way is not taken.

use std::fmt;
use std::io;
use std::net::SocketAddr;
use std::pin::Pin;
use std::task::{Context, Poll};

use lettre::transport::smtp::client::AsyncTokioStream;
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt, ReadBuf};
use tokio::net::TcpStream;

use crate::transport::dial::{DialError, Tls};

/// Longest reply, all its lines together, in bytes (RFC 5321 §4.5.3.1.5 allows 512 a line).
const REPLY_MAX: usize = 8_192;

/// Why there is no way.
#[derive(Debug, thiserror::Error)]
pub enum WayError {
    /// Nothing answers there.
    #[error("cannot connect to {address}")]
    Connect {
        /// The address.
        address: SocketAddr,
        /// Why.
        source: io::Error,
    },
    /// TLS was refused, or the connection broke.
    #[error(transparent)]
    Dial(#[from] DialError),
    /// The connection broke before encryption.
    #[error("the connection broke")]
    Broken(#[source] io::Error),
    /// A reply that is none.
    #[error("what answers does not speak SMTP")]
    NoServer,
    /// A refusal before encryption.
    #[error("it says {said}")]
    Refused {
        /// What was said.
        said: String,
    },
    /// No STARTTLS.
    #[error("it offers no STARTTLS, and nothing was sent")]
    NoStartTls,
    /// Something stood between STARTTLS and the handshake.
    #[error("somebody on the way put words between STARTTLS and encryption, and nothing was sent")]
    Injected,
}

/// TLS from the first byte.
pub(super) async fn encrypted(tcp: TcpStream, tls: &Tls) -> Result<Way, WayError> {
    let peer = tcp.peer_addr().map_err(WayError::Broken)?;
    Ok(Way { greeting: &[], inner: Box::new(tls.over(tcp).await?), peer })
}

/// Nothing but TCP.
pub(super) fn plain(tcp: TcpStream) -> Result<Way, WayError> {
    let peer = tcp.peer_addr().map_err(WayError::Broken)?;
    Ok(Way { greeting: &[], inner: Box::new(tcp), peer })
}

/// TLS after STARTTLS (RFC 3207).
pub(super) async fn starttls(mut tcp: TcpStream, hello: &str, tls: &Tls) -> Result<Way, WayError> {
    let mut buffer = Vec::new();
    reply(&mut tcp, &mut buffer).await?;
    let offers = say(&mut tcp, &format!("EHLO {hello}\r\n"), &mut buffer).await?;
    let offered =
        offers.lines().any(|line| line.get(4..).is_some_and(|word| word.eq_ignore_ascii_case("STARTTLS")));
    if !offered {
        return Err(WayError::NoStartTls);
    }
    say(&mut tcp, "STARTTLS\r\n", &mut buffer).await?;
    if !buffer.is_empty() {
        return Err(WayError::Injected);
    }
    let way = encrypted(tcp, tls).await?;
    // The server does not greet again (RFC 3207 §4.2), and the library waits for a greeting.
    Ok(Way { greeting: b"220 encrypted\r\n", ..way })
}

async fn say(tcp: &mut TcpStream, command: &str, buffer: &mut Vec<u8>) -> Result<String, WayError> {
    if !buffer.is_empty() {
        return Err(WayError::Injected);
    }
    tcp.write_all(command.as_bytes()).await.map_err(WayError::Broken)?;
    reply(tcp, buffer).await
}

/// Reads one reply (RFC 5321 §4.2); what has come beyond it stays in `buffer`.
async fn reply(tcp: &mut TcpStream, buffer: &mut Vec<u8>) -> Result<String, WayError> {
    loop {
        if let Some(end) = end_of_reply(buffer)? {
            let said = String::from_utf8_lossy(&buffer[..end]).trim_end().to_owned();
            buffer.drain(..end);
            return if said.starts_with('2') { Ok(said) } else { Err(WayError::Refused { said }) };
        }
        if buffer.len() > REPLY_MAX || tcp.read_buf(buffer).await.map_err(WayError::Broken)? == 0 {
            return Err(WayError::NoServer);
        }
    }
}

/// Where the reply ends: after the first line whose code is followed by no hyphen.
fn end_of_reply(bytes: &[u8]) -> Result<Option<usize>, WayError> {
    let mut start = 0;
    while let Some(length) = bytes[start..].iter().position(|byte| *byte == b'\n') {
        let line = &bytes[start..start + length];
        if line.len() < 3 || !line[..3].iter().all(u8::is_ascii_digit) {
            return Err(WayError::NoServer);
        }
        start += length + 1;
        if line.get(3) != Some(&b'-') {
            return Ok(Some(start));
        }
    }
    Ok(None)
}

trait Stream: AsyncRead + AsyncWrite + Send + Sync + Unpin {}
impl<S: AsyncRead + AsyncWrite + Send + Sync + Unpin> Stream for S {}

/// A connection as the SMTP library takes it.
pub(super) struct Way {
    /// Is read before anything of the connection.
    greeting: &'static [u8],
    inner: Box<dyn Stream>,
    peer: SocketAddr,
}

impl fmt::Debug for Way {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "a connection to {}", self.peer)
    }
}

impl AsyncTokioStream for Way {
    fn peer_addr(&self) -> io::Result<SocketAddr> {
        Ok(self.peer)
    }
}

impl AsyncRead for Way {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        into: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        if self.greeting.is_empty() {
            return Pin::new(&mut self.inner).poll_read(cx, into);
        }
        let (now, later) = self.greeting.split_at(self.greeting.len().min(into.remaining()));
        into.put_slice(now);
        self.greeting = later;
        Poll::Ready(Ok(()))
    }
}

impl AsyncWrite for Way {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.inner).poll_write(cx, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.inner).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.inner).poll_shutdown(cx)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // RFC 5321 §4.2.1: a hyphen after the code says that more lines follow.
    #[test]
    fn finds_the_end_of_a_reply() {
        for (bytes, expected) in [
            (&b"220 x\r\n"[..], Ok(Some(7))),
            (b"250-a\r\n250 b\r\n", Ok(Some(14))),
            (b"250-a\r\n250 b\r\n250 injected\r\n", Ok(Some(14))),
            (b"250-a\r\n", Ok(None)),
            (b"250", Ok(None)),
            (b"220\r\n", Ok(Some(5))),
            (b"HTTP/1.1 400 Bad Request\r\n", Err(())),
            (b"\r\n", Err(())),
        ] {
            assert_eq!(end_of_reply(bytes).map_err(|_| ()), expected, "{}", String::from_utf8_lossy(bytes));
        }
    }
}
