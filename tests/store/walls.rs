//! A shop is a wall: many shops in one database, and none can read or write anything of another.

use std::ops::ControlFlow;

use bench::{postgres, stock};
use store::{
    Database, Error, HeldKey, HeldState, Mean, NewHeld, Off, Postgres, Run, Saying, Subscription, Token,
    WhichDeliveries,
};

use super::{BEGIN_MS, answer, delivery, reading, readings, saying, shop, token};

const QUARTER_MS: i64 = 15 * stock::MINUTE_MS;

/// One of everything, said by a shop.
fn furnish(database: &mut dyn Database, mark: &str) {
    let key = HeldKey { zone: stock::id("bench"), sensor: None, at_ms: BEGIN_MS, temp_c: 68.0, rh_pct: 45.0 };
    let held = NewHeld { key, by: "csv".into(), reason: mark.into(), detail: "x".into(), mend: "y".into() };
    let all = Saying {
        answer: answer("the same key"),
        deliveries: vec![delivery("a-1", mark, BEGIN_MS, BEGIN_MS)],
        held: vec![held],
        readings: [BEGIN_MS - QUARTER_MS, BEGIN_MS]
            .map(|at_ms| reading("bench", None, at_ms, if mark == "a" { 20.0 } else { 25.0 }))
            .to_vec(),
        ..saying(vec![stock::zone("bench"), stock::zone(mark)])
    };
    assert_eq!(database.commit(&[&all]).unwrap(), [1, 2], "each shop has a journal of its own");
    database.record_run(&Run { job: mark.into(), at_ms: 1, error: None }).unwrap();
    let subscription = Subscription {
        id: "the same browser".into(),
        person: mark.into(),
        endpoint: "https://push.example".into(),
        p256dh: "key".into(),
        auth: "secret".into(),
        added_ms: 1,
    };
    database.put_subscription(&subscription).unwrap();
    let off = Off { channel: "hook".into(), address: mark.into(), since_ms: 1, why: "x".into() };
    database.switch_off(&off).unwrap();
    // The same name and the same hash, so that nothing but the wall keeps them apart.
    assert!(database.add_token(&Token { made_by: mark.into(), ..token("mia", 1) }).unwrap());
    assert!(database.keep_file("push-key", mark.as_bytes()).unwrap());
    let n = if mark == "a" { 1 } else { 2 };
    let mean = Mean { from_ms: BEGIN_MS - QUARTER_MS, n, temp_c: [20.0; 3], rh_pct: [50.0; 3] };
    database.thin_readings(&stock::id("bench"), BEGIN_MS, &[mean]).unwrap();
}

/// Everything a shop can get to see through the store, as text.
fn seen(database: &mut dyn Database) -> String {
    let mut all = Vec::new();
    database
        .everything(&mut |piece| {
            all.push(format!("{piece:?}"));
            ControlFlow::Continue(())
        })
        .unwrap();
    let bench = stock::id("bench");
    all.push(format!("{:?}", database.facts_after(0, 100).unwrap()));
    all.push(format!("{:?}", database.facts_of("zone_set").unwrap()));
    all.push(format!("{:?}", readings(database, "bench", i64::MIN)));
    all.push(format!("{:?}", database.held(&bench, HeldState::Held, 0, 100).unwrap()));
    all.push(format!("{:?}", (0..100).map(|id| database.held_one(id).unwrap()).collect::<Vec<_>>()));
    all.push(format!("{:?}", database.due_deliveries(i64::MAX, 100).unwrap()));
    all.push(format!("{:?}", database.deliveries_of("a-1").unwrap()));
    all.push(format!("{:?}", database.list_deliveries(&WhichDeliveries::default(), 100).unwrap()));
    all.push(format!("{:?}", database.last_runs().unwrap()));
    all.push(format!("{:?}", database.subscriptions(None).unwrap()));
    all.push(format!("{:?}", database.switched_off().unwrap()));
    all.push(format!("{:?}", database.answers(&["the same key"]).unwrap()));
    all.push(format!("{:?}", database.means("bench", i64::MIN, i64::MAX).unwrap()));
    all.push(format!("{:?}", database.tokens().unwrap()));
    all.push(format!("{:?}", database.file("push-key").unwrap()));
    all.push(format!("{:?}", database.days_on_record(i64::MAX, 100).unwrap()));
    all.push(format!("{:?}", database.since().unwrap()));
    all.join("\n")
}

#[test]
fn a_shop_sees_and_changes_nothing_of_another() {
    let server = postgres::Database::new();
    let (mut a, mut b) = (shop(&server, "shop-a"), shop(&server, "shop-b"));
    furnish(a.as_mut(), "a");
    let alone = seen(&mut *server_again(&server, "shop-a"));
    furnish(b.as_mut(), "b");
    assert_eq!(seen(&mut *server_again(&server, "shop-a")), alone, "what b said shows in a");

    // Whatever b does to what a has too, by the same name or number.
    let of_b = b.list_deliveries(&WhichDeliveries::default(), 10).unwrap();
    let of_a = a.list_deliveries(&WhichDeliveries::default(), 10).unwrap();
    let mut foreign = of_a[0].clone();
    foreign.body = of_b[0].body.clone();
    foreign.state = store::DeliveryState::GivenUp;
    b.record_deliveries(&[foreign], &[]).unwrap();
    b.thin_readings(&stock::id("bench"), i64::MAX, &[]).unwrap();
    b.forget_means(i64::MAX).unwrap();
    b.forget_finished(i64::MAX).unwrap();
    b.forget_subscription("the same browser").unwrap();
    b.switch_on("hook").unwrap();
    b.token_used(&token("mia", 1).id, 5).unwrap();
    b.revoke_token("mia", "b", 6).unwrap();
    b.end_session(&token("mia", 1).id).unwrap();
    b.forget_file("push-key").unwrap();
    assert_eq!(seen(&mut *server_again(&server, "shop-a")), alone, "what b did shows in a");
    assert_eq!(readings(b.as_mut(), "bench", i64::MIN), []);
}

/// The shop by a connection that has heard nothing yet.
fn server_again(server: &postgres::Database, named: &str) -> Box<Postgres> {
    shop(server, named)
}

#[test]
fn the_server_itself_keeps_the_wall_in_every_table() {
    let server = postgres::Database::new();
    furnish(shop(&server, "shop-a").as_mut(), "a");
    furnish(shop(&server, "shop-b").as_mut(), "b");
    let tables = "SELECT c.oid::regclass::text FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace \
                  WHERE c.relkind IN ('r', 'p') AND n.nspname = 'public' AND c.relname <> 'benchclock_schema' ORDER BY 1";
    let tables = server.ask(tables);
    assert!(tables.lines().count() >= 10, "{tables}");
    assert!(tables.contains("reading_2026_02"), "a month has no table: {tables}");
    for table in tables.lines() {
        // The catalogue: forced on the owner too, with a policy, and the shop first in the key.
        let kept = format!(
            "SELECT c.relrowsecurity AND c.relforcerowsecurity
                AND (SELECT count(*) = 1 FROM pg_policy p WHERE p.polrelid = c.oid AND p.polcmd = '*')
                AND (SELECT a.attname = 'shop' FROM pg_index i JOIN pg_attribute a
                     ON a.attrelid = c.oid AND a.attnum = i.indkey[0] WHERE i.indrelid = c.oid AND i.indisprimary)
             FROM pg_class c WHERE c.oid = '{table}'::regclass"
        );
        assert_eq!(server.ask(&kept), "t", "{table} has a hole in its wall");
        let rows = |bound: &str| server.ask_as_bench(&format!("{bound} SELECT count(*) FROM {table}"));
        let all: i64 = server.ask(&format!("SELECT count(*) FROM {table}")).parse().unwrap();
        let of_a = rows("SET benchclock.shop = 'shop-a';").parse::<i64>().unwrap();
        let foreign = format!("SELECT count(*) FROM {table} WHERE shop <> 'shop-a'");
        assert_eq!(server.ask_as_bench(&format!("SET benchclock.shop = 'shop-a'; {foreign}")), "0", "{table}");
        assert_eq!(rows(""), "0", "{table} is open to a session of no shop");
        assert_eq!(rows("SET benchclock.shop = 'shop-c';"), "0", "{table} is open to a shop that is not there");
        assert!(of_a > 0 && of_a * 2 == all, "{table}: {of_a} of {all}");
    }
    let forged = "INSERT INTO run (shop, job, at_ms) VALUES ('shop-a', 'forged', 1)";
    let forged = format!(
        "SET benchclock.shop = 'shop-b'; DO $$ BEGIN {forged}; RAISE 'it was let in';
         EXCEPTION WHEN insufficient_privilege THEN NULL; END $$; SELECT 'refused'"
    );
    assert_eq!(server.ask_as_bench(&forged), "refused");
}

#[test]
fn a_role_that_looks_over_walls_is_refused_with_how_to_mend_it() {
    let server = postgres::Database::new();
    let Err(why) = Postgres::open(&server.url_of("postgres"), None, "shop") else { panic!("it was let in") };
    assert!(matches!(&why, Error::OverTheWall { role, .. } if role == "postgres"), "{why}");
    assert!(why.to_string().contains("neither superuser nor BYPASSRLS"), "{why}");
    assert_eq!(server.ask("SELECT count(*) FROM pg_tables WHERE schemaname = 'public'"), "0", "it left something");
}
