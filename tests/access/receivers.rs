//! Receivers that try something: that send on elsewhere, that answer without end, that never answer.

use std::{
    io::{Read, Write},
    net::{TcpListener, TcpStream},
    sync::{
        Arc,
        atomic::{AtomicUsize, Ordering},
    },
    time::Duration,
};

use bench::{BEGIN, Bench, Shop, ms};
use benchclock::{Now, Webhook};
use serde_json::{Value, json};

use crate::http::webhooks::{Receiver, SECRET};

async fn bench(url: &str, allow: bool) -> Bench {
    let mut shop = Shop::small();
    if !allow {
        shop.settings.alerts.allow_private.clear();
    }
    let hook = Webhook { name: "wall".into(), url: url.into(), secret: SECRET.into(), ..Webhook::default() };
    shop.settings.webhooks = vec![hook];
    Bench::open(shop, Now::standing_at(ms(BEGIN)), false).await
}

async fn tested(bench: &Bench) -> Value {
    bench.post("/api/v1/channels/wall/test", json!({})).await.good()
}

/// A receiver of few words: reads the head of each request and lets `answer` do the rest.
fn listen(answer: impl Fn(TcpStream) + Send + Sync + 'static) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let url = format!("http://{}/told", listener.local_addr().unwrap());
    std::thread::spawn(move || {
        for stream in listener.incoming() {
            let mut stream = stream.unwrap();
            let mut read = [0; 4096];
            assert!(stream.read(&mut read).unwrap() > 0);
            answer(stream);
        }
    });
    url
}

#[tokio::test]
async fn a_receiver_inside_is_not_reached_unless_it_is_allowed() {
    let (receiver, url) = Receiver::start(&[]);
    let closed = bench(&url, false).await;
    let refused = tested(&closed).await;
    assert_eq!(refused["taken"], false);
    assert!(refused["error"].as_str().unwrap().contains("lies inside"), "{refused}");
    closed.stop().await;
    // By a name, too: it is its addresses that count.
    let named = bench(&url.replace("127.0.0.1", "localhost"), false).await;
    let refused = tested(&named).await;
    assert!(refused["error"].as_str().unwrap().contains("localhost lies inside"), "{refused}");
    named.stop().await;
    assert!(receiver.got().is_empty());
    let open = bench(&url, true).await;
    assert_eq!(tested(&open).await["taken"], true);
    open.stop().await;
    assert_eq!(receiver.got().len(), 1);
}

/// A receiver that is refused is no receiver that wants no more: once it is allowed it is told again.
#[tokio::test]
async fn a_refused_receiver_is_not_switched_off() {
    let (receiver, url) = Receiver::start(&[]);
    let closed = bench(&url, false).await;
    tested(&closed).await;
    let channel = closed.items("/api/v1/channels").await[0].clone();
    assert_eq!(channel["state"], "on", "{channel}");
    let (mut shop, now) = closed.stop().await;
    shop.settings.alerts.allow_private = vec!["127.0.0.1/32".parse().unwrap()];
    let open = Bench::open(shop, now, false).await;
    assert_eq!(tested(&open).await["taken"], true);
    assert_eq!(receiver.got().len(), 1);
    open.stop().await;
}

#[tokio::test]
async fn nobody_is_followed_elsewhere() {
    for status in [301, 302, 303, 307, 308] {
        let (elsewhere, elsewhere_url) = Receiver::start(&[]);
        let sends_on = listen(move |mut stream| {
            let answer = format!("HTTP/1.1 {status} X\r\nLocation: {elsewhere_url}\r\nContent-Length: 0\r\n\r\n");
            stream.write_all(answer.as_bytes()).unwrap();
        });
        let bench = bench(&sends_on, true).await;
        let tested = tested(&bench).await;
        assert_eq!(tested["taken"], false, "{tested}");
        assert!(tested["error"].as_str().unwrap().contains(&status.to_string()), "{tested}");
        assert!(elsewhere.got().is_empty());
        bench.stop().await;
    }
}

/// A gigabyte is announced, and as much is sent as is taken: nothing of it is read, let alone shown.
#[tokio::test]
async fn an_answer_without_end_is_not_read() {
    let sent = Arc::new(AtomicUsize::new(0));
    let count = sent.clone();
    let url = listen(move |mut stream| {
        stream.write_all(b"HTTP/1.1 500 X\r\nContent-Length: 1073741824\r\n\r\n").unwrap();
        let part = [b'x'; 65536];
        while stream.write_all(&part).is_ok() {
            count.fetch_add(part.len(), Ordering::SeqCst);
        }
    });
    let bench = bench(&url, true).await;
    let tested =
        tokio::time::timeout(Duration::from_secs(9), tested(&bench)).await.expect("it does not wait for the end");
    assert_eq!(tested["error"], "the receiver answered 500 Internal Server Error");
    bench.stop().await;
    let sent = sent.load(Ordering::SeqCst);
    assert!(sent < 64 * 1024 * 1024, "{sent} bytes were taken");
}

/// One that takes the request and says a byte now and then is given up after ten seconds.
#[tokio::test]
async fn a_receiver_that_never_ends_its_answer_is_given_up() {
    let url = listen(|mut stream| {
        std::thread::spawn(move || {
            for byte in b"HTTP/1.1 204 X\r\nX-Slow: ".iter().chain(std::iter::repeat(&b'x')) {
                if stream.write_all(&[*byte]).is_err() {
                    return;
                }
                let (_keep, silence) = std::sync::mpsc::channel::<()>();
                let _ = silence.recv_timeout(Duration::from_millis(200));
            }
        });
    });
    let bench = bench(&url, true).await;
    let tested = tokio::time::timeout(Duration::from_secs(15), tested(&bench)).await.expect("it gives up");
    assert_eq!(tested["error"], "no answer within 10 s");
    bench.stop().await;
}
