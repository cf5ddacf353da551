//! The same checks on every database: facts, readings, what is held, the outbox, what is kept.

use bench::stock::{self, MINUTE_MS};
use facts::Fact;
use store::{
    Database, DeliveryState, HeldKey, HeldState, Mean, NewHeld, Off, Run, Saying, Subscription, Token, WhichDeliveries,
};

use super::{BEGIN_MS, answer, delivery, heard, in_each, reading, readings, saying, token};

#[test]
fn facts_are_numbered_in_the_order_they_were_said_and_read_back_as_they_were() {
    in_each(|named, database| {
        let furniture = stock::furniture(BEGIN_MS);
        let facts: Vec<Fact> = furniture.iter().map(|recorded| recorded.fact.clone()).collect();
        let first = saying(facts[..1].to_vec());
        let others = saying(facts[1..].to_vec());
        assert_eq!(database.commit(&[&first, &others]).unwrap(), [1, 2, 3], "{named}");
        assert_eq!(database.commit(&[&saying(vec![stock::zone("booth")])]).unwrap(), [4], "{named}");
        assert_eq!(database.facts_after(0, 3).unwrap(), furniture, "{named}");
        assert_eq!(database.facts_after(3, 10).unwrap()[0].fact, stock::zone("booth"), "{named}");
        assert_eq!(database.facts_after(4, 10).unwrap(), [], "{named}");
        let zones: Vec<i64> = database.facts_of("zone_set").unwrap().iter().map(|fact| fact.seq).collect();
        assert_eq!(zones, [1, 4], "{named}");
        assert_eq!(database.reopen().unwrap().facts_after(0, 10).unwrap().len(), 4, "{named}");
    });
}

#[test]
fn of_a_commit_that_fails_nothing_is_there() {
    in_each(|named, database| {
        let kept = Saying { answer: answer("key-1"), ..saying(vec![stock::zone("bench")]) };
        database.commit(&[&kept]).unwrap();
        let again = Saying {
            readings: vec![reading("bench", None, BEGIN_MS, 20.0)],
            deliveries: vec![delivery("a-1", "page", BEGIN_MS, BEGIN_MS)],
            ..kept.clone()
        };
        assert!(database.commit(&[&saying(vec![stock::zone("booth")]), &again]).is_err(), "{named}");
        assert_eq!(database.facts_after(0, 10).unwrap().len(), 1, "{named}");
        assert_eq!(readings(database, "bench", 0), [], "{named}");
        assert_eq!(database.next_deliveries().unwrap(), [], "{named}");
        assert_eq!(database.commit(&[&saying(vec![stock::zone("booth")])]).unwrap().len(), 1, "{named}");
    });
}

#[test]
fn answers_are_found_by_their_keys_and_forgotten_when_they_are_old() {
    in_each(|named, database| {
        let of = |key: &str| Saying { answer: answer(key), ..saying(vec![stock::zone(key)]) };
        database.commit(&[&of("a"), &of("b"), &of("c")]).unwrap();
        let mut found = database.answers(&["c", "x", "a"]).unwrap();
        found.sort_by(|one, other| one.key.cmp(&other.key));
        assert_eq!(found, [answer("a").unwrap(), answer("c").unwrap()], "{named}");
        database.forget_finished(BEGIN_MS + 1).unwrap();
        assert_eq!(database.answers(&["a", "b", "c"]).unwrap(), [], "{named}");
    });
}

#[test]
fn readings_of_a_zone_are_told_by_time_and_those_of_one_instant_as_they_came() {
    in_each(|named, database| {
        // Over the end of a month, with a leap day's worth of nothing between, and one a year earlier.
        let at = |minutes: i64| BEGIN_MS + minutes * MINUTE_MS;
        let first = vec![
            reading("bench", Some("north"), at(90), 21.5),
            reading("bench", None, at(0), 20.0 + 1.0 / 3.0),
            reading("booth", None, at(0), 24.0),
        ];
        database.commit(&[&heard(first, at(91))]).unwrap();
        let later = vec![
            reading("bench", Some("south"), at(90), 19.5),
            reading("bench", Some("north"), at(90), 21.0),
            reading("bench", None, at(-366 * 24 * 60), 17.0),
        ];
        database.commit(&[&heard(later, at(92))]).unwrap();
        let temps = |database: &mut dyn Database, from_ms: i64| -> Vec<f64> {
            readings(database, "bench", from_ms).iter().map(|reading| reading.temp_c.get()).collect()
        };
        assert_eq!(temps(database, i64::MIN), [17.0, 20.0 + 1.0 / 3.0, 21.5, 19.5, 21.0], "{named}");
        assert_eq!(temps(database, at(1)), [21.5, 19.5, 21.0], "{named}");
        let sensors: Vec<_> = readings(database, "bench", at(1)).into_iter().map(|reading| reading.sensor).collect();
        assert_eq!(sensors, ["north", "south", "north"].map(|id| Some(stock::id(id))), "{named}");
    });
}

#[test]
fn a_reading_is_held_once_and_decided_once() {
    in_each(|named, database| {
        let key = |sensor: Option<&str>, temp_c: f64| HeldKey {
            zone: stock::id("bench"),
            sensor: sensor.map(stock::id),
            at_ms: BEGIN_MS,
            temp_c,
            rh_pct: 45.0,
        };
        let new = |key: HeldKey| NewHeld {
            key,
            by: "csv".into(),
            reason: "jump".into(),
            detail: "it jumped".into(),
            mend: "look at it".into(),
        };
        let held = |all: Vec<HeldKey>| Saying { held: all.into_iter().map(new).collect(), ..saying(vec![]) };
        database.commit(&[&held(vec![key(None, 68.0), key(Some("north"), 68.0)])]).unwrap();
        database.commit(&[&held(vec![key(None, 68.0), key(None, 69.0)])]).unwrap();
        let bench = stock::id("bench");
        let all = database.held(&bench, HeldState::Held, 0, 10).unwrap();
        assert_eq!(all.iter().map(|held| held.key.temp_c).collect::<Vec<_>>(), [68.0, 68.0, 69.0], "{named}");
        assert_eq!(database.held(&bench, HeldState::Held, all[0].id, 1).unwrap(), [all[1].clone()], "{named}");
        let decide = |state| Saying { decided: vec![(key(None, 68.0), state)], ..saying(vec![]) };
        database.commit(&[&decide(HeldState::Released)]).unwrap();
        database.commit(&[&decide(HeldState::Discarded)]).unwrap();
        let one = database.held_one(all[0].id).unwrap().unwrap();
        assert_eq!((one.state, one.decided_ms), (HeldState::Released, Some(BEGIN_MS)), "{named}");
        assert_eq!(database.held(&bench, HeldState::Held, 0, 10).unwrap(), all[1..], "{named}");
        assert_eq!(database.held_one(all[2].id + 1000).unwrap(), None, "{named}");
    });
}

#[test]
fn what_waits_in_the_outbox_comes_when_it_is_due_and_what_ended_stays_ended() {
    in_each(|named, database| {
        let at = |minutes: i64| BEGIN_MS + minutes * MINUTE_MS;
        let new = vec![
            delivery("a-1", "mia:push", at(0), at(5)),
            delivery("a-2", "mia:push", at(1), at(1)),
            delivery("a-2", "hook", at(2), at(2)),
        ];
        database.commit(&[&Saying { deliveries: new, ..saying(vec![stock::zone("bench")]) }]).unwrap();
        let next = [("hook".to_string(), at(2)), ("mia:push".to_string(), at(1))];
        assert_eq!(database.next_deliveries().unwrap(), next, "{named}");
        let due = database.due_deliveries(at(2), 10).unwrap();
        assert_eq!(due.iter().map(|d| d.channel.as_str()).collect::<Vec<_>>(), ["mia:push", "hook"], "{named}");
        // Of each channel the first.
        let first: Vec<i64> = database.due_deliveries(at(9), 1).unwrap().iter().map(|d| d.id).collect();
        assert_eq!(first, [due[0].id, due[1].id], "{named}");
        let fresh = database.fresh_deliveries("mia:push", at(1)).unwrap();
        assert_eq!(fresh.iter().map(|d| d.alert.as_str()).collect::<Vec<_>>(), ["a-2", "a-1"], "{named}");
        assert_eq!(database.last_tried().unwrap(), [], "{named}");

        let mut gone = due[0].clone();
        (gone.attempts, gone.state, gone.due_ms, gone.error) =
            (1, DeliveryState::Delivered, at(3), Some("late".into()));
        database.record_deliveries(&[gone.clone()], &[delivery("a-2", "mia:email", at(3), at(3))]).unwrap();
        assert_eq!(database.last_tried().unwrap(), [gone.clone()], "{named}");
        assert_eq!(database.taken_at("mia:push", at(3)).unwrap(), [gone.clone()], "{named}");
        assert_eq!(database.taken_at("mia:push", at(2)).unwrap(), [], "{named}");
        let mut back = gone.clone();
        (back.state, back.attempts) = (DeliveryState::Waiting, 0);
        database.record_deliveries(&[back], &[]).unwrap();
        let of_alert = database.deliveries_of("a-2").unwrap();
        assert_eq!(of_alert[0], gone, "{named}");
        assert_eq!(of_alert[2].channel, "mia:email", "{named}");

        let list = |database: &mut dyn Database, which: WhichDeliveries| -> Vec<i64> {
            database.list_deliveries(&which, 10).unwrap().iter().map(|d| d.id).collect()
        };
        let ids = list(database, WhichDeliveries::default());
        assert!(ids.len() == 4 && ids.is_sorted_by(|a, b| a > b), "{named}: {ids:?}");
        let waiting = WhichDeliveries { state: Some(DeliveryState::Waiting), ..WhichDeliveries::default() };
        assert_eq!(list(database, waiting).len(), 3, "{named}");
        let to_hook = WhichDeliveries { channel: Some("hook".into()), ..WhichDeliveries::default() };
        assert_eq!(list(database, to_hook), [due[1].id], "{named}");
        let older = WhichDeliveries { before: Some(ids[1]), ..WhichDeliveries::default() };
        assert_eq!(list(database, older), ids[2..], "{named}");
        // The clock was set back from minute 5 to minute -1: what was due by then is due now, and may be told.
        database.bring_forward(at(-1), at(3)).unwrap();
        let forward: Vec<(i64, i64)> =
            database.due_deliveries(at(-1), 10).unwrap().iter().map(|d| (d.due_ms, d.since_ms)).collect();
        assert_eq!(forward, [(at(-1), at(-1)), (at(-1), at(-1))], "{named}");
        database.forget_finished(at(4)).unwrap();
        assert_eq!(list(database, WhichDeliveries::default()).len(), 3, "{named}");
    });
}

#[test]
fn who_receives_is_kept_once_and_forgotten_when_asked() {
    in_each(|named, database| {
        let of = |id: &str, person: &str| Subscription {
            id: id.into(),
            person: person.into(),
            endpoint: format!("https://push.example/{id}/{person}"),
            p256dh: "key".into(),
            auth: "secret".into(),
            added_ms: BEGIN_MS,
        };
        for subscription in [of("b", "mia"), of("a", "ben"), of("b", "ada")] {
            database.put_subscription(&subscription).unwrap();
        }
        assert_eq!(database.subscriptions(None).unwrap(), [of("a", "ben"), of("b", "ada")], "{named}");
        assert_eq!(database.subscriptions(Some("mia")).unwrap(), [], "{named}");
        assert_eq!(database.subscriptions(Some("ada")).unwrap(), [of("b", "ada")], "{named}");
        assert!(database.forget_subscription("b").unwrap() && !database.forget_subscription("b").unwrap(), "{named}");

        let off = |why: &str| Off { channel: "hook".into(), address: "x".into(), since_ms: BEGIN_MS, why: why.into() };
        database.switch_off(&off("gone")).unwrap();
        database.switch_off(&off("gone for good")).unwrap();
        assert_eq!(database.switched_off().unwrap(), [off("gone for good")], "{named}");
        database.switch_on("hook").unwrap();
        assert_eq!(database.switched_off().unwrap(), [], "{named}");
    });
}

#[test]
fn bytes_are_kept_under_their_name_and_the_first_stay() {
    in_each(|named, database| {
        let photo = stock::noise(1_500_000);
        assert!(database.keep_file("photos/1.jpg", &photo).unwrap(), "{named}");
        assert!(database.keep_file("key", &[0, 255, 0]).unwrap(), "{named}");
        assert!(database.keep_file("nothing", &[]).unwrap(), "{named}");
        assert!(!database.keep_file("key", &[1]).unwrap(), "{named}: it was put in place of the first");
        let mut other = database.reopen().unwrap();
        assert!(other.file("photos/1.jpg").unwrap().unwrap() == photo, "{named}: other bytes came back");
        assert_eq!(other.file("key").unwrap(), Some(vec![0, 255, 0]), "{named}");
        assert_eq!(other.file("nothing").unwrap(), Some(vec![]), "{named}");
        assert_eq!(other.file("photos/2.jpg").unwrap(), None, "{named}");
        assert!(other.forget_file("key").unwrap() && !other.forget_file("key").unwrap(), "{named}");
        assert_eq!(database.file("key").unwrap(), None, "{named}");
    });
}

#[test]
fn the_last_run_of_each_job_is_told_and_a_probe_is_one_row_however_often() {
    in_each(|named, database| {
        let run =
            |job: &str, at_ms: i64, error: Option<&str>| Run { job: job.into(), at_ms, error: error.map(Into::into) };
        for run in
            [run("digest", 5, Some("no")), run("backup", 1, None), run("digest", 7, None), run("digest", 7, Some("x"))]
        {
            database.record_run(&run).unwrap();
        }
        database.probe().unwrap();
        database.probe().unwrap();
        let mut last = database.last_runs().unwrap();
        last.sort_by(|one, other| one.job.cmp(&other.job));
        let probe = run("probe", 0, None);
        assert_eq!(last, [run("backup", 1, None), run("digest", 7, Some("x")), probe], "{named}");
    });
}

#[test]
fn means_stand_in_for_old_readings_and_a_late_one_is_weighed_in() {
    in_each(|named, database| {
        let at = |minutes: i64| BEGIN_MS - BEGIN_MS.rem_euclid(15 * MINUTE_MS) + minutes * MINUTE_MS;
        let bench = stock::id("bench");
        let mean = |from_ms: i64, n: u32, temp_c: f64| Mean {
            from_ms,
            n,
            temp_c: [temp_c, temp_c - 1.0, temp_c + 1.0],
            rh_pct: [50.0, 40.0, 60.0],
        };
        let all = [0, 5, 10, 15, 40].map(|minutes| reading("bench", None, at(minutes), 20.0)).to_vec();
        database.commit(&[&heard(all, at(41))]).unwrap();
        database.thin_readings(&bench, at(30), &[mean(at(0), 3, 20.0), mean(at(15), 1, 20.0)]).unwrap();
        assert_eq!(readings(database, "bench", i64::MIN).len(), 1, "{named}");
        database.commit(&[&heard(vec![reading("bench", None, at(16), 24.0)], at(42))]).unwrap();
        database.thin_readings(&bench, at(30), &[mean(at(15), 1, 24.0)]).unwrap();
        let means = database.means("bench", at(0), at(15)).unwrap();
        assert_eq!(means[0], mean(at(0), 3, 20.0), "{named}");
        // By hand: (20 × 1 + 24 × 1) / 2 = 22, least 19, most 25.
        assert_eq!((means[1].n, means[1].temp_c), (2, [22.0, 19.0, 25.0]), "{named}");
        assert_eq!(database.means("bench", at(1), at(15)).unwrap().len(), 1, "{named}");
        database.forget_means(at(15)).unwrap();
        assert_eq!(database.means("bench", i64::MIN, i64::MAX).unwrap().len(), 1, "{named}");
    });
}

#[test]
fn a_token_is_given_once_ends_its_sessions_and_its_name_is_never_given_again() {
    in_each(|named, database| {
        let sensor = Token { role: "sensor".into(), zones: vec!["bench".into(), "booth".into()], ..token("north", 1) };
        assert!(database.add_token(&sensor).unwrap() && database.add_token(&token("mia", 2)).unwrap(), "{named}");
        assert!(!database.add_token(&token("mia", 3)).unwrap(), "{named}: a name was given twice");
        let session = |id: i64, name: &str| Token { session: true, ..token(name, id) };
        for (id, name) in [(4, "mia"), (5, "mia"), (6, "north")] {
            assert!(database.add_token(&session(id, name)).unwrap(), "{named}");
        }
        database.token_used(&token("", 5).id, BEGIN_MS + 1).unwrap();
        let used = Token { used_ms: Some(BEGIN_MS + 1), ..session(5, "mia") };
        let all = [token("mia", 2), session(4, "mia"), used, sensor.clone(), session(6, "north")];
        assert_eq!(database.tokens().unwrap(), all, "{named}");
        assert_eq!(database.reopen().unwrap().tokens().unwrap(), all, "{named}: another connection sees others");

        // Ending one session leaves the others, and ends no token that has its id.
        database.end_session(&token("", 6).id).unwrap();
        database.end_session(&token("", 2).id).unwrap();
        assert_eq!(database.tokens().unwrap(), all[..4], "{named}");
        assert!(database.revoke_token("mia", "olga", BEGIN_MS + 2).unwrap(), "{named}");
        let revoked = Token { revoked: Some((BEGIN_MS + 2, "olga".into())), ..token("mia", 2) };
        assert_eq!(database.tokens().unwrap(), [revoked.clone(), sensor.clone()], "{named}");
        assert!(!database.revoke_token("mia", "ben", BEGIN_MS + 3).unwrap(), "{named}: it was taken away twice");
        assert!(!database.revoke_token("nobody", "ben", BEGIN_MS + 3).unwrap(), "{named}");
        assert!(!database.add_token(&token("mia", 7)).unwrap(), "{named}: facts are by that name");

        // A session nobody used is forgotten, a token never.
        database.add_token(&session(8, "north")).unwrap();
        database.forget_finished(BEGIN_MS + 1).unwrap();
        assert_eq!(database.tokens().unwrap(), [revoked, sensor], "{named}");
    });
}
