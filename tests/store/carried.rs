//! The whole of a shop out of one database and into another: nothing is left behind, and half a shop is none.

use std::ops::ControlFlow;

use bench::{postgres, stock};
use store::{
    Database, DeliveryState, Error, HeldKey, HeldState, Mean, NewHeld, Off, Piece, Row, Run, Saying, Sqlite,
    Subscription, Token, carry,
};

use super::{BEGIN_MS, answer, delivery, heard, in_each, reading, saying, shop, sqlite};

/// Fills a shop with some of everything there is.
fn furnish(database: &mut dyn Database) {
    let furniture = stock::furniture(BEGIN_MS).into_iter().map(|recorded| recorded.fact).collect();
    let first = Saying {
        answer: answer("key-1"),
        deliveries: vec![delivery("a-1", "page", BEGIN_MS, BEGIN_MS), delivery("a-2", "hook", BEGIN_MS, BEGIN_MS)],
        ..saying(furniture)
    };
    database.commit(&[&first]).unwrap();
    let offered = HeldKey {
        zone: stock::id("bench"),
        sensor: Some(stock::id("north")),
        at_ms: BEGIN_MS + 1,
        temp_c: 68.25,
        rh_pct: 45.0,
    };
    let held = NewHeld {
        key: offered.clone(),
        by: "csv".into(),
        reason: "jump".into(),
        detail: "it jumped".into(),
        mend: "look at it".into(),
    };
    // Zones whose names a dictionary would sort otherwise than their bytes, and readings of two months.
    let readings = vec![
        reading("bench-2", None, BEGIN_MS, 19.0),
        reading("bench", Some("north"), BEGIN_MS, 20.1 + 0.2),
        reading("bench", Some("south"), BEGIN_MS, 20.0),
        reading("bench", None, BEGIN_MS + 2 * 3_600_000, 21.0),
    ];
    let second =
        Saying { held: vec![held], decided: vec![(offered, HeldState::Released)], ..heard(readings, BEGIN_MS + 5) };
    database.commit(&[&second]).unwrap();
    let mean = Mean { from_ms: 900_000, n: 3, temp_c: [20.0 / 3.0, 1.0, 9.0], rh_pct: [50.0, 40.0, 60.0] };
    let bench = stock::id("bench");
    database.commit(&[&heard(vec![reading("bench", None, 900_001, 20.0)], BEGIN_MS)]).unwrap();
    database.thin_readings(&bench, 1_800_000, &[mean]).unwrap();
    let mut gone = database.due_deliveries(BEGIN_MS, 1).unwrap();
    (gone[0].state, gone[0].attempts) = (DeliveryState::Delivered, 2);
    database.record_deliveries(&gone, &[]).unwrap();
    database.record_run(&Run { job: "backup".into(), at_ms: 7, error: Some("disk".into()) }).unwrap();
    let (person, endpoint) = ("mia".into(), "https://push.example/1".into());
    let (p256dh, auth) = ("key".into(), "secret".into());
    let subscription = Subscription { id: "s-1".into(), person, endpoint, p256dh, auth, added_ms: 9 };
    database.put_subscription(&subscription).unwrap();
    let off = Off { channel: "hook".into(), address: "x".into(), since_ms: 3, why: "gone".into() };
    database.switch_off(&off).unwrap();
    let token = Token {
        id: "hash".into(),
        name: "north".into(),
        role: "sensor".into(),
        zones: vec!["bench".into(), "bench-2".into()],
        session: false,
        made_ms: 1,
        made_by: "olga".into(),
        used_ms: Some(2),
        revoked: Some((3, "olga".into())),
    };
    database.add_token(&token).unwrap();
    database.keep_file("photos/1.jpg", &stock::noise(300_000)).unwrap();
    database.keep_file("push-key", &[0, 255, 7]).unwrap();
}

fn pieces(database: &mut dyn Database) -> Vec<Piece> {
    let mut all = Vec::new();
    database
        .everything(&mut |piece| {
            all.push(piece);
            ControlFlow::Continue(())
        })
        .unwrap();
    all
}

#[test]
fn a_shop_carried_there_and_back_is_the_same_to_the_piece_and_goes_on() {
    let folder = tempfile::tempdir().unwrap();
    let mut file = sqlite(folder.path(), "shop");
    furnish(file.as_mut());
    let all = pieces(file.as_mut());
    for (kind, what) in Piece::KINDS.into_iter().enumerate() {
        assert!(all.iter().any(|piece| piece.kind() == kind), "no {what} in the shop that is carried");
    }
    let server = postgres::Database::new();
    let mut there = shop(&server, "shop");
    let tally = carry(file.as_mut(), there.as_mut()).unwrap();
    assert_eq!(tally.counts().map(|(_, n)| n).sum::<u64>(), all.len() as u64);
    assert_eq!(pieces(there.as_mut()), all);

    let elsewhere = tempfile::tempdir().unwrap();
    let mut back = sqlite(elsewhere.path(), "shop");
    carry(there.as_mut(), back.as_mut()).unwrap();
    assert_eq!(pieces(back.as_mut()), all);

    // What comes next comes behind what was carried.
    let next =
        Saying { deliveries: vec![delivery("a-3", "page", BEGIN_MS, BEGIN_MS)], ..saying(vec![stock::zone("booth")]) };
    let last = all.iter().filter_map(|piece| if let Piece::Delivery(d) = piece { Some(d.id) } else { None }).max();
    for database in [there.as_mut() as &mut dyn Database, back.as_mut()] {
        assert_eq!(database.commit(&[&next]).unwrap(), [4]);
        assert!(database.deliveries_of("a-3").unwrap()[0].id > last.unwrap());
    }
}

#[test]
fn an_export_is_the_rows_and_is_the_same_in_each() {
    let exported = |database: &mut dyn Database| {
        let mut rows = Vec::new();
        database
            .export(&mut |row| {
                rows.push(row);
                ControlFlow::Continue(())
            })
            .unwrap();
        rows
    };
    let all = std::cell::RefCell::new(Vec::<Vec<Row>>::new());
    in_each(|named, database| {
        furnish(database);
        let rows = exported(database);
        assert_eq!(rows.len(), 3 + 4 + 1 + 1, "{named}");
        all.borrow_mut().push(rows);
    });
    let all = all.into_inner();
    assert_eq!(all[0], all[1]);
    in_each(|named, database| {
        assert_eq!(database.import(&mut all[0].iter().cloned().map(Ok)).unwrap(), 9, "{named}");
        assert_eq!(exported(database), all[0], "{named}");
    });
}

#[test]
fn half_a_shop_is_none_and_a_shop_that_is_not_empty_is_left_as_it_is() {
    let folder = tempfile::tempdir().unwrap();
    let mut from = sqlite(folder.path(), "shop");
    furnish(from.as_mut());
    let all = pieces(from.as_mut());
    in_each(|named, database| {
        let broken = all[..7].iter().cloned().map(Ok).chain([Err("it broke off".to_string())]);
        let why = database.fill(&mut broken.into_iter()).unwrap_err();
        assert!(matches!(&why, Error::NotWhole { why } if why == "it broke off"), "{named}: {why}");
        assert_eq!(pieces(database), [], "{named}");
        // Nor is one that says the same twice.
        let twice = all.iter().chain(&all[..1]).cloned().map(Ok);
        assert!(database.fill(&mut twice.into_iter()).is_err(), "{named}");
        assert_eq!(pieces(database), [], "{named}");
        database.fill(&mut all.iter().cloned().map(Ok)).unwrap();
        let why = database.fill(&mut all.iter().cloned().map(Ok)).unwrap_err();
        assert!(matches!(why, Error::NotEmpty { .. }), "{named}: {why}");
        assert_eq!(pieces(database), all, "{named}");
    });
}

#[test]
fn a_backup_is_a_file_with_all_of_it() {
    in_each(|named, database| {
        furnish(database);
        let folder = tempfile::tempdir().unwrap();
        let copy = folder.path().join("copy.db");
        database.backup(&copy).unwrap();
        let beside: Vec<_> = std::fs::read_dir(folder.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
        assert_eq!(beside, ["copy.db"], "{named}: part of the copy is beside it");
        assert_eq!(pieces(&mut Sqlite::open(&copy, "shop").unwrap()), pieces(database), "{named}");
    });
}
