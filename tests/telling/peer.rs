//! Peers written in Python: programs at the other end of a channel that are not ours.

use std::{
    io::{BufRead, BufReader, Write},
    path::PathBuf,
    process::{Child, Command, Stdio},
    sync::mpsc::{Receiver, channel},
    time::Duration,
};

use bench::root;
use serde_json::Value;

/// The Python with the packages of `tests/peers/requirements.txt`.
fn python() -> PathBuf {
    let python = root().join("target/python-venv/bin/python");
    assert!(
        python.exists(),
        "{} is missing: run tests/run, or python3 -m venv target/python-venv && target/python-venv/bin/pip install -r \
         tests/peers/requirements.txt",
        python.display()
    );
    python
}

fn script(name: &str) -> PathBuf {
    root().join("tests/peers").join(name)
}

/// A peer that goes on until it is dropped and says what it gets, line by line.
pub(super) struct Peer {
    child: Child,
    said: Receiver<Value>,
    /// The first thing it said.
    pub(super) hello: Value,
}

impl Peer {
    pub(super) fn start(name: &str, args: &[&str]) -> Self {
        let mut child = Command::new(python()).arg(script(name)).args(args).stdout(Stdio::piped()).spawn().unwrap();
        let lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let (send, said) = channel();
        std::thread::spawn(move || {
            for line in lines.map_while(Result::ok) {
                drop(send.send(serde_json::from_str(&line).unwrap()));
            }
        });
        let mut peer = Self { child, said, hello: Value::Null };
        peer.hello = peer.next();
        peer
    }

    /// The next thing it says.
    pub(super) fn next(&self) -> Value {
        self.said.recv_timeout(Duration::from_secs(60)).unwrap_or_else(|_| panic!("the peer says nothing"))
    }

    /// Whether it has said nothing more.
    pub(super) fn is_quiet(&self) -> bool {
        self.said.try_recv().is_err()
    }
}

impl Drop for Peer {
    fn drop(&mut self) {
        // It may have ended already.
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

/// Runs a peer to its end with a text and gives what it said.
pub(crate) fn ask(name: &str, args: &[&str], text: &str) -> Value {
    let mut child = Command::new(python())
        .arg(script(name))
        .args(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(text.as_bytes()).unwrap();
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}
