//! An answer read off a connection of one's own: a client for benches, where that of a library would cost more than the service.

use tokio::{io::AsyncReadExt, net::TcpStream};

/// Reads one answer with a content length; gives its status.
///
/// # Panics
/// When the connection is closed, or what comes is no such answer.
pub async fn answer(stream: &mut TcpStream, buffer: &mut Vec<u8>) -> u16 {
    buffer.clear();
    loop {
        assert!(stream.read_buf(buffer).await.expect("the connection can be read") > 0, "the connection was closed");
        let Some(head) = buffer.windows(4).position(|four| four == b"\r\n\r\n") else { continue };
        let text = std::str::from_utf8(&buffer[..head]).expect("a head is text");
        let length = text.split("content-length: ").nth(1).and_then(|rest| rest.lines().next()).expect("a length");
        if buffer.len() == head + 4 + length.parse::<usize>().expect("a length is a number") {
            return text[9..12].parse().expect("a status is a number");
        }
    }
}
