//! Names that stand for an address inside, now or a moment later. The spellings of addresses and the receivers that try
//! something are in the tests of the service; what lies inside is held there against another's list.

use std::sync::{
    Mutex,
    atomic::{AtomicUsize, Ordering},
};

use super::*;

/// A name server that gives these answers in turn.
fn scripted(answers: &[&[&str]]) -> (Ask, Arc<AtomicUsize>) {
    let parse = |address: &&str| SocketAddr::new(address.parse().expect("an address"), 0);
    let answers: Vec<Vec<SocketAddr>> = answers.iter().map(|one| one.iter().map(parse).collect()).collect();
    let asked = Arc::new(AtomicUsize::new(0));
    let (count, answers) = (asked.clone(), Mutex::new(answers.into_iter()));
    let ask: Ask = Arc::new(move |_| {
        count.fetch_add(1, Ordering::SeqCst);
        let next = answers.lock().expect("one at a time").next().unwrap_or_default();
        Box::pin(async move { Ok(next) })
    });
    (ask, asked)
}

async fn resolved(answers: &[&[&str]], allow: &str, only_allowed: bool) -> Vec<Result<Vec<SocketAddr>, String>> {
    let allow = if allow.is_empty() { vec![] } else { vec![allow.parse().expect("a network")] };
    let names = Names { ask: scripted(answers).0, allow, only_allowed };
    let mut all = Vec::new();
    for _ in answers {
        let found = names.resolve("somewhere.example".parse().expect("a name")).await;
        all.push(found.map(Iterator::collect).map_err(|e| e.to_string()));
    }
    all
}

#[tokio::test]
async fn a_name_that_turns_inward_between_two_questions_is_refused_the_second_time() {
    let all = resolved(&[&["93.184.215.14"], &["127.0.0.1"], &["fd00::1"]], "", false).await;
    assert_eq!(all[0].as_ref().map(Vec::len), Ok(1));
    assert!(all[1..].iter().all(|one| one.as_ref().is_err_and(|why| why.contains("lies inside"))), "{all:?}");
}

#[tokio::test]
async fn one_address_inside_among_others_is_enough_to_refuse_a_name() {
    for inside in ["10.0.0.1", "::1", "::ffff:169.254.169.254", "64:ff9b::7f00:1"] {
        let all = resolved(&[&["93.184.215.14", inside]], "", false).await;
        assert!(all[0].is_err(), "{inside}");
    }
}

#[tokio::test]
async fn what_is_allowed_is_reached_and_a_clouds_keys_never_are() {
    let all = resolved(&[&["192.168.1.9"], &["169.254.169.254"], &["192.168.2.9"]], "192.168.1.0/24", true).await;
    assert!(all[0].is_ok() && all[1].is_err() && all[2].is_err(), "{all:?}");
    let all = resolved(&[&["169.254.169.254"]], "169.254.0.0/16", false).await;
    assert!(all[0].is_err(), "{all:?}");
    // Without TLS nothing goes outside.
    assert!(resolved(&[&["93.184.215.14"]], "", true).await[0].is_err());
}

/// The connection goes to the address that was looked at: the name is asked for once, and nowhere else.
#[tokio::test]
async fn a_connection_asks_for_the_name_once() {
    crate::run::Service::provide_tls();
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.expect("a port");
    let port = listener.local_addr().expect("an address").port();
    let (ask, asked) = scripted(&[&["127.0.0.1"], &["127.0.0.2"]]);
    let outward = Outward::asking(&["127.0.0.1/32".parse().expect("a network")], ask).expect("a client");
    let url = format!("http://somewhere.example:{port}/");
    let sent = tokio::time::timeout(Duration::from_secs(5), async {
        tokio::join!(listener.accept(), async {
            drop(outward.post(&url).expect("it may go there").timeout(Duration::from_millis(300)).send().await);
        })
    });
    let (accepted, ()) = sent.await.expect("it connects");
    assert!(accepted.is_ok());
    assert_eq!(asked.load(Ordering::SeqCst), 1);
}
