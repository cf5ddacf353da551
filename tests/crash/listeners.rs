//! Listeners that do not listen: what waits for each is bounded, and after its time is up the connection is closed.

use std::{
    io::{Read, Write},
    net::TcpStream,
    time::Duration,
};

use super::{Home, Program, json};

/// Listeners that ask for events and then take none.
const LISTENERS: usize = 100;
/// What may be kept for each of them, KiB: sixteen events of 2 KiB and the buffers of a connection. What the system
/// itself buffers stands beside it.
const EACH_KIB: u64 = 256;
/// Jobs whose notes are told to everybody.
const JOBS: usize = 12;

/// Memory a process holds, KiB.
fn held_kib(pid: u32) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{pid}/status")).unwrap();
    let line = status.lines().find(|line| line.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

/// How many connections of a process are open to the address it listens at.
fn open_files(pid: u32) -> usize {
    std::fs::read_dir(format!("/proc/{pid}/fd")).unwrap().count()
}

fn listen(program: &Program) -> TcpStream {
    let address = program.url("").trim_start_matches("http://").to_string();
    let socket = socket2::Socket::new(socket2::Domain::IPV4, socket2::Type::STREAM, None).unwrap();
    // So that little stands in the system's own buffers.
    socket.set_recv_buffer_size(4096).unwrap();
    socket.connect(&address.parse::<std::net::SocketAddr>().unwrap().into()).unwrap();
    let mut stream = TcpStream::from(socket);
    write!(stream, "GET /api/v1/events HTTP/1.1\r\nHost: {address}\r\n\r\n").unwrap();
    // Its first words, so that it is known to listen from here on.
    let mut heard = [0; 64];
    stream.read_exact(&mut heard).unwrap();
    stream
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn listeners_who_take_nothing_hold_little_and_are_closed() {
    let mut shop = Home::new();
    shop.keep_at(shop.journal(), "slow_reader_seconds = 2\n", "");
    let program = Program::serve(&shop).await;
    program.furnish().await;
    for n in 0..JOBS {
        let job = json!({"id": format!("job-{n}"), "instrument": "guitar", "title": "Neck reset"});
        program.post("/api/v1/jobs", job).await;
    }
    let idle = open_files(program.pid());
    let streams: Vec<TcpStream> = (0..LISTENERS).map(|_| listen(&program)).collect();
    assert!(open_files(program.pid()) >= idle + LISTENERS);
    let before = held_kib(program.pid());
    // Each of these is told to everybody: together more than the system buffers for one connection.
    let note = "x".repeat(1900);
    let mut sent = 0;
    let mut most = before;
    for n in 0..1000 {
        program.post(&format!("/api/v1/jobs/job-{}/notes", n % JOBS), json!({"text": note})).await;
        sent += 1;
        if n % 100 == 0 {
            most = most.max(held_kib(program.pid()));
        }
    }
    let grown = most.saturating_sub(before);
    println!("{LISTENERS} listeners that take nothing of {sent} events: {grown} KiB more");
    assert!(grown < LISTENERS as u64 * EACH_KIB, "{grown} KiB for {LISTENERS} listeners");
    bench::until("they are closed", async || (open_files(program.pid()) < idle + 10).then_some(())).await;
    // They find out when they come to read: what was under way, and then the end.
    for mut stream in streams {
        stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
        let mut rest = Vec::new();
        let end = stream.read_to_end(&mut rest);
        assert!(end.is_ok() || end.is_err_and(|e| e.kind() == std::io::ErrorKind::ConnectionReset));
    }
    program.terminate().await;
}
