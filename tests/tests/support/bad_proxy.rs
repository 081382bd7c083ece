//! A TCP proxy that misbehaves on request: one fault for each connection, in order; when the list
//! is at its end it passes everything on.

use std::collections::VecDeque;
use std::net::Ipv4Addr;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::task::JoinHandle;

/// What happens to one connection.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Mischief {
    /// Nothing.
    Pass,
    /// It is reset at once (TCP RST).
    Reset,
    /// So many bytes of the request are passed on, then both sides are closed.
    CutRequest(usize),
    /// The request is passed on whole, and so many bytes of the answer come back before the end.
    CutAnswer(usize),
    /// The request is passed on, and nothing ever comes back.
    Stall,
    /// The answer comes one byte in each of these times.
    Drip(Duration),
    /// Bytes come back that are no HTTP; the request goes nowhere.
    Garbage,
}

/// A running proxy.
pub(crate) struct BadProxy {
    port: u16,
    connections: Arc<AtomicUsize>,
    mischief: Arc<Mutex<VecDeque<Mischief>>>,
    task: JoinHandle<()>,
}

impl BadProxy {
    /// Starts a proxy before the server at this port of 127.0.0.1.
    pub(crate) async fn start(target: u16, mischief: impl IntoIterator<Item = Mischief>) -> Self {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).await.expect("loopback");
        let port = listener.local_addr().expect("a bound socket").port();
        let connections = Arc::new(AtomicUsize::new(0));
        let mischief = Arc::new(Mutex::new(mischief.into_iter().collect::<VecDeque<_>>()));
        let (counted, listed) = (Arc::clone(&connections), Arc::clone(&mischief));
        let task = tokio::spawn(async move {
            while let Ok((link, _)) = listener.accept().await {
                counted.fetch_add(1, Ordering::SeqCst);
                let next = listed.lock().unwrap_or_else(PoisonError::into_inner).pop_front();
                tokio::spawn(async move {
                    // An end of either side is the point of the exercise.
                    drop(one(link, target, next.unwrap_or(Mischief::Pass)).await);
                });
            }
        });
        Self { port, connections, mischief, task }
    }

    /// Its address.
    pub(crate) fn url(&self) -> String {
        format!("http://127.0.0.1:{}/", self.port)
    }

    /// How many connections it has seen.
    pub(crate) fn connections(&self) -> usize {
        self.connections.load(Ordering::SeqCst)
    }

    /// Adds faults for the next connections.
    pub(crate) fn add(&self, mischief: impl IntoIterator<Item = Mischief>) {
        self.mischief.lock().unwrap_or_else(PoisonError::into_inner).extend(mischief);
    }
}

impl Drop for BadProxy {
    fn drop(&mut self) {
        self.task.abort();
    }
}

async fn one(mut link: TcpStream, target: u16, mischief: Mischief) -> std::io::Result<()> {
    match mischief {
        Mischief::Reset => return link.set_zero_linger(),
        Mischief::Garbage => {
            let mut some = [0; 256];
            let read = link.read(&mut some).await?;
            assert!(read > 0, "a request");
            link.write_all(b"\x16\x03 rinse me \r\n\r\n\0\0").await?;
            return link.shutdown().await;
        }
        Mischief::Pass
        | Mischief::CutRequest(_)
        | Mischief::CutAnswer(_)
        | Mischief::Stall
        | Mischief::Drip(_) => {}
    }
    let mut server = TcpStream::connect((Ipv4Addr::LOCALHOST, target)).await?;
    let (mut from_client, mut to_client) = link.split();
    let (mut from_server, mut to_server) = server.split();
    let request = async {
        if let Mischief::CutRequest(bytes) = mischief {
            return passed(&mut from_client, &mut to_server, bytes).await;
        }
        tokio::io::copy(&mut from_client, &mut to_server).await.map(drop)
    };
    let answer = async {
        match mischief {
            Mischief::CutAnswer(bytes) => passed(&mut from_server, &mut to_client, bytes).await,
            Mischief::Stall => {
                let mut nowhere = tokio::io::sink();
                tokio::io::copy(&mut from_server, &mut nowhere).await.map(drop)
            }
            Mischief::Drip(every) => dripped(&mut from_server, &mut to_client, every).await,
            Mischief::Pass | Mischief::CutRequest(_) | Mischief::Reset | Mischief::Garbage => {
                tokio::io::copy(&mut from_server, &mut to_client).await.map(drop)
            }
        }
    };
    // Whichever ends first takes the other with it.
    tokio::select! { ended = request => ended, ended = answer => ended }
}

async fn passed(
    from: &mut (impl AsyncReadExt + Unpin),
    to: &mut (impl AsyncWriteExt + Unpin),
    bytes: usize,
) -> std::io::Result<()> {
    let mut left = vec![0; bytes];
    let read = from.read_exact(&mut left).await?;
    to.write_all(&left[..read]).await?;
    to.flush().await
}

async fn dripped(
    from: &mut (impl AsyncReadExt + Unpin),
    to: &mut (impl AsyncWriteExt + Unpin),
    every: Duration,
) -> std::io::Result<()> {
    let mut byte = [0];
    while from.read(&mut byte).await? == 1 {
        to.write_all(&byte).await?;
        to.flush().await?;
        tokio::time::sleep(every).await;
    }
    Ok(())
}
