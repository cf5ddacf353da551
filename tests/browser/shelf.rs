//! The shelf by the page alone: a bottle is opened, something is taken from it, and it goes.

use bench::Bench;
use serde_json::json;

use super::forms::send;

/// By hand: 250 ml less 40 ml taken leave 210 ml; 60 ml are thrown out.
#[tokio::test]
async fn a_bottle_is_opened_taken_from_and_goes() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let lot = json!({"id": "b-1", "material": "shellac", "label": "flakes", "content": {"ml": 250}});
    bench.post("/api/v1/lots", lot).await.good();
    let page = bench.get("/materials").await.text;
    assert!(
        page.contains("not opened") && page.contains("/lots/b-1/open") && !page.contains("<option>g</option>"),
        "{page}"
    );
    for _ in 0..2 {
        let page = send(&bench, "/lots/b-1/open", &[("key", "open")]).await;
        assert!(
            page.status == 200 && page.text.contains("opened 2 March") && !page.text.contains("/lots/b-1/open"),
            "{}",
            page.text
        );
    }
    for _ in 0..2 {
        let form = [("key", "use"), ("amount", "40"), ("unit", "ml")];
        assert_eq!(send(&bench, "/lots/b-1/use", &form).await.status, 200);
    }
    let left = async || bench.get("/api/v1/stock").await.good()["lots"][0]["left"].clone();
    assert_eq!(left().await, json!({"ml": 210.0}));
    for (to, form, said) in [
        ("use", vec![("amount", "40"), ("unit", "g")], "counted in ml, not in g"),
        ("use", vec![("amount", "some"), ("unit", "ml")], "amount is no number"),
        ("use", vec![("unit", "ml")], "amount is missing"),
        ("close", vec![("amount", "300"), ("unit", "ml")], "more is left"),
    ] {
        let wrong = send(&bench, &format!("/lots/b-1/{to}"), &form).await;
        assert!(wrong.status >= 400 && wrong.text.contains(said), "{to} {form:?}: {}", wrong.text);
    }
    let goes = [("key", "close"), ("reason", "past its time"), ("amount", "60"), ("unit", "ml")];
    for _ in 0..2 {
        let page = send(&bench, "/lots/b-1/close", &goes).await;
        assert!(page.status == 200 && !page.text.contains("/lots/b-1/"), "{}", page.text);
    }
    let waste = bench.get("/api/v1/stock").await.good();
    let of = waste["materials"].as_array().unwrap().iter().find(|of| of["material"] == "shellac").unwrap();
    assert_eq!((&of["waste"]["closed"], &of["waste"]["thrown_out"]), (&json!(1), &json!(60.0)), "{waste}");
    let again = send(&bench, "/lots/b-1/use", &[("amount", "1"), ("unit", "ml")]).await;
    assert!(again.status == 409 && again.text.contains("has left the shelf"), "{}", again.text);
    bench.stop().await;
}

#[tokio::test]
async fn a_clamp_is_added_once_and_says_what_it_holds() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let form = [("key", "once"), ("name", "Long cam 7"), ("kind", "cam")];
    for _ in 0..2 {
        assert_eq!(send(&bench, "/clamps", &form).await.status, 200);
    }
    let clamps = bench.items("/api/v1/clamps").await;
    let added: Vec<_> = clamps.iter().filter(|clamp| clamp["name"] == "Long cam 7").collect();
    assert_eq!((added.len(), &added[0]["kind"]), (1, &json!("cam")), "{clamps:?}");
    bench.glue_up("g-1").await;
    let page = bench.get("/materials").await.text;
    assert_eq!(page.matches("<a href=\"/cures/g-1\">bridge of the guitar</a>").count(), 2, "{page}");
    let nameless = send(&bench, "/clamps", &[("name", " ")]).await;
    assert!(nameless.status == 422 && nameless.text.contains("role=\"alert\""), "{}", nameless.text);
    bench.stop().await;
}
