//! The rule workshop's pages without a browser: a draft is tried by its form, versions are set side by side, and an open
//! glue-up is moved to another, seen first.

use bench::Bench;
use serde_json::json;

use super::forms::send;

const RULE: &str = "/api/v1/rules/aliphatic-resin";
/// The shipped clamp time, and another; at 20 °C and 50 % RH an hour is an hour of age, so that the times are these.
const SHIPPED: &str = "const CLAMP_OFF_H = 0.75;";
const LONGER: &str = "const CLAMP_OFF_H = 1.5;";

async fn shop() -> Bench {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.glue_up("g-1").await;
    bench.live_minutes("bench", 30, 20.0, 50.0).await;
    bench
}

/// The text in force with a longer clamp time: two rows of its own table say otherwise.
async fn longer(bench: &Bench) -> String {
    let text = bench.get(RULE).await.good()["text"].as_str().unwrap().to_string();
    assert!(text.contains(SHIPPED));
    text.replace(SHIPPED, LONGER)
}

/// The cells of the first table row after some words.
fn row(page: &str, after: &str) -> Vec<String> {
    let row = page.split(after).nth(1).unwrap_or_else(|| panic!("no {after} in {page}")).split("</tr>").next().unwrap();
    let cells = row.split("<td>").skip(1).map(|cell| cell.split("</td>").next().unwrap());
    cells.map(|cell| cell.replace("<strong>", "").replace("</strong>", "")).collect()
}

async fn attempt(bench: &Bench, text: &str, fields: &[(&str, &str)]) -> bench::Answer {
    let mut all = vec![("text", text), ("version", "0123456789abcdef"), ("override_reason", "the jar says so")];
    all.extend(fields);
    send(bench, "/rules/aliphatic-resin/try", &all).await
}

#[tokio::test]
async fn a_draft_is_tried_by_its_form_beside_the_version_in_force() {
    let bench = shop().await;
    let (before, draft) = (bench.get(RULE).await.good(), longer(&bench).await);
    let constant = [("air", "constant"), ("temp", "20"), ("rh_pct", "50"), ("hours", "6")];
    let page = attempt(&bench, &draft.replace('\n', "\r\n"), &constant).await;
    assert_eq!(page.status, 200, "{}", page.text);
    // Earliest, likely and safe by the spread the rule states (0.67 to 1.34), of the draft and of the version in force.
    let times = ["45 min later", "1.0 h", "1.5 h", "2.0 h", "30 min", "45 min", "1.0 h"];
    assert_eq!(row(&page.text, "<th scope=\"row\">2 clamp off</th>"), times);
    // Its mark lies a quarter along the six hours, that of the version in force an eighth: of 930 pixels after the first 52.
    let wide = page.text.split("<svg class=\"chart wide\"").nth(1).unwrap().split("</svg>").next().unwrap();
    let filled =
        wide.split("<circle cx=\"284\"").nth(1).unwrap_or_else(|| panic!("{wide}")).split("/>").next().unwrap();
    assert!(filled.contains("fill=\"var(--brass)\""), "{filled}");
    let open = wide.split("<circle cx=\"168\"").nth(1).unwrap_or_else(|| panic!("{wide}")).split("/>").next().unwrap();
    assert!(open.contains("fill=\"none\"") && open.contains("stroke=\"var(--ink)\""), "{open}");
    // A curve as numbers: at a rate of one an hour is an hour of age.
    let numbers = row(&page.text, "<th scope=\"row\">3.0 h</th>");
    assert_eq!(
        (&numbers[1..3], &numbers[4..6]),
        (&["1.000", "3.00"].map(String::from)[..], &["1.000", "3.00"].map(String::from)[..])
    );
    assert!(page.text.contains("Of its own expected values these rows fail: 1, "), "{}", page.text);
    // What would change is what the interface says.
    let would = bench.post(&format!("{RULE}/what-would-change"), json!({"text": draft})).await.good();
    let stages = would["items"][0]["stages"].as_array().unwrap();
    assert!(page.text.contains("href=\"/cures/g-1\">bridge of the guitar"), "{}", page.text);
    let moves = page.text.split("What would change now").nth(1).unwrap();
    assert_eq!(moves.matches("<th scope=\"row\">").count(), stages.len());
    let by_min = stages.iter().find(|stage| stage["stage"] == "clamp_off").unwrap()["by_min"].as_f64().unwrap();
    let said = row(moves, "<th scope=\"row\">clamp off")[2].clone();
    assert_eq!(
        said,
        if by_min < 60.0 { format!("{by_min:.0} min later") } else { format!("{:.1} h later", by_min / 60.0) }
    );
    // What a rule may call stands there as the host describes it.
    let functions = bench.get("/api/v1/rules/functions").await.good()["items"].as_array().unwrap().clone();
    assert!(functions.len() > 10);
    let read = page.text.replace("&#34;", "\"").replace("&#39;", "'").replace("&#38;", "&");
    let read = read.replace("&#60;", "<").replace("&#62;", ">");
    for of in functions {
        let [name, says] = ["name", "says"].map(|part| of[part].as_str().unwrap().to_string());
        assert!(read.contains(&format!("<code>{name}(")) && read.contains(&says), "{name}: {says}");
    }
    // The editor still has the draft and what was filled in; nothing is in force or saved by it.
    for part in [
        LONGER,
        "value=\"the jar says so\"",
        "name=\"version\" value=\"0123456789abcdef\"",
        "name=\"hours\" inputmode=\"decimal\" value=\"6\"",
    ] {
        assert!(page.text.contains(part), "no {part} in {}", page.text);
    }
    assert_eq!(bench.get(RULE).await.good(), before);
    // The drawing holds no style of its own, which the policy forbids, and its colours are the page's.
    assert_eq!(page.text.matches("<svg class=\"chart ").count(), 2);
    assert!(!page.text.contains(" style=") && page.text.contains("stroke=\"var(--brass)\""));
    bench.stop().await;
}

#[tokio::test]
async fn a_draft_is_tried_over_a_recorded_stretch_and_over_the_forecast() {
    let bench = shop().await;
    let draft = longer(&bench).await;
    for (air, ago_h, says) in
        [("recorded", "0,4", "the air recorded of Bench"), ("forecast", "", "the forecast of Bench")]
    {
        let page = attempt(&bench, &draft, &[("air", air), ("zone", "bench"), ("ago_h", ago_h), ("hours", "12")]).await;
        assert!(page.status == 200 && page.text.contains(says), "{air}: {} {}", page.status, page.text);
        // The forecast of half an hour of 20 °C and 50 % is that, in its middle.
        assert_eq!(row(&page.text, "<th scope=\"row\">2 clamp off</th>")[2], "1.5 h", "{air}");
        // What was recorded ends now; who reads the rest is told what it is.
        assert_eq!(page.text.contains("from now on the forecast"), air == "recorded", "{}", page.text);
    }
    for (fields, said) in [
        ([("air", "recorded"), ("zone", "bench"), ("ago_h", "400")], "is not known then"),
        ([("air", "recorded"), ("zone", "cellar"), ("ago_h", "1")], "there is no zone"),
        ([("air", "constant"), ("temp", "warm"), ("rh_pct", "50")], "temp is no number"),
        ([("air", "constant"), ("temp", ""), ("rh_pct", "50")], "temp is missing"),
    ] {
        let page = attempt(&bench, &draft, &fields).await;
        assert!(page.status == 422 && page.text.contains(said), "{said}: {} {}", page.status, page.text);
        assert!(page.text.contains(LONGER), "what was typed is gone");
    }
    let slip = draft.replacen("fn rate", "fn rate rate", 1);
    let line = slip.lines().position(|line| line.starts_with("fn rate")).unwrap() + 1;
    let page = attempt(&bench, &slip, &[("air", "forecast"), ("zone", "bench")]).await;
    assert!(page.status == 422 && page.text.contains(&format!(".rhai:{line}:")), "{}", page.text);
    // Of a material without a rule there is nothing to stand beside.
    let fields = [("text", draft.as_str()), ("air", "constant"), ("temp", "20"), ("rh_pct", "50"), ("hours", "6")];
    let page = send(&bench, "/rules/new-glue/try", &fields).await;
    assert!(page.status == 200 && !page.text.contains("in force: earliest"), "{}", page.text);
    assert!(page.text.contains("No glue-up or coat of it is open."), "{}", page.text);
    // The longest text the host reads goes through the form, whatever the form makes of its letters.
    let long = format!("{draft}//{}", "é".repeat((32 * 1024 - draft.len() - 2) / 2));
    let page = attempt(&bench, &long, &[("air", "forecast"), ("zone", "bench")]).await;
    assert!(page.status == 200 && page.text.contains("Tried: the forecast"), "{}", page.status);
    bench.stop().await;
}

/// Two have the same rule before them: the second is told in words of the page, and loses neither text.
#[tokio::test]
async fn a_text_saved_meanwhile_is_not_written_over() {
    let bench = shop().await;
    let first = bench.get(RULE).await.good();
    let (before, text) = (first["version"].as_str().unwrap(), first["text"].as_str().unwrap());
    let mine = format!("{text}// mine\n");
    let save = json!({"text": format!("{text}// theirs\n"), "by": "ada"});
    let theirs = bench.send(bench.http().put(bench.url(RULE)).header("if-match", before).json(&save)).await.good();
    let page = send(&bench, "/rules/aliphatic-resin", &[("version", before), ("text", &mine)]).await;
    assert!(page.status == 422 && page.text.contains("// mine") && page.text.contains("is not saved"), "{}", page.text);
    assert!(!page.text.contains("GET /api"), "{}", page.text);
    // A draft that was made from the text before says so, and saving it changes nothing.
    let draft = send(&bench, "/rules/aliphatic-resin/draft", &[("version", before), ("text", &mine)]).await;
    assert!(draft.text.contains("edited or saved meanwhile"), "{}", draft.text);
    assert!(draft.text.contains(&format!("name=\"version\" value=\"{before}\"")), "{}", draft.text);
    assert_eq!(bench.get(RULE).await.good(), theirs);
    // One made from what stands there is saved.
    let now = theirs["version"].as_str().unwrap();
    let draft = send(&bench, "/rules/aliphatic-resin/draft", &[("version", now), ("text", &mine)]).await;
    assert!(!draft.text.contains("edited or saved meanwhile"), "{}", draft.text);
    assert_eq!(send(&bench, "/rules/aliphatic-resin", &[("version", now), ("text", &mine)]).await.status, 200);
    assert_eq!(bench.get(RULE).await.good()["text"], mine);
    bench.stop().await;
}

/// A sheet may be entered again with other numbers: the page says that it replaces a rule, and the editor can save it.
#[tokio::test]
async fn a_sheet_of_a_material_that_has_a_rule_replaces_it_when_it_is_saved() {
    let bench = shop().await;
    let sheet = [("material", "aliphatic-resin"), ("class", "aliphatic_resin"), ("clamp_off_h", "0,5")];
    let page = send(&bench, "/rules/new", &sheet).await.text;
    let before = bench.get(RULE).await.good();
    assert!(page.contains("There is a rule of that name already"), "{page}");
    assert!(page.contains(&format!("name=\"version\" value=\"{}\"", before["version"].as_str().unwrap())), "{page}");
    let sheet = [("material", "new-glue"), ("class", "aliphatic_resin"), ("clamp_off_h", "0,5")];
    let page = send(&bench, "/rules/new", &sheet).await.text;
    assert!(!page.contains("already") && page.contains("name=\"version\" value=\"\""), "{page}");
    // When a rule was changed is said by the shop's clock.
    let rules = bench.get("/rules").await.text;
    assert!(rules.contains("scripts: aliphatic-resin") && !rules.contains("+00:00"), "{rules}");
    bench.stop().await;
}

#[tokio::test]
async fn versions_are_set_side_by_side_and_an_open_glue_up_is_moved_after_it_was_seen_what_moves() {
    let bench = shop().await;
    let first = bench.get(RULE).await.good();
    let only = bench.get("/rules/aliphatic-resin/versions").await.text;
    assert!(only.contains("There was only one version yet") && only.contains("by scripts"), "{only}");
    let save = json!({"text": longer(&bench).await, "by": "ada", "override_reason": "the jar says so"});
    let request = bench.http().put(bench.url(RULE)).header("if-match", first["version"].as_str().unwrap()).json(&save);
    let second = bench.send(request).await.good();
    let (old, new) = (first["version"].as_str().unwrap(), second["version"].as_str().unwrap());
    let page = bench.get("/rules/aliphatic-resin/versions").await.text;
    for part in [
        "by ada",
        "the jar says so",
        &format!("Version {new} · in force"),
        "1 open go by it",
        "version {old}, not the one in force",
    ] {
        let part = part.replace("{old}", old);
        assert!(page.contains(&part), "no {part} in {page}");
    }
    let marks = |page: &str, tag: &str| -> Vec<String> {
        let tag = format!("<{tag}>");
        page.split(&tag).skip(1).map(|rest| rest.split('<').next().unwrap().to_string()).collect()
    };
    let (gone, came) = (marks(&page, "del"), marks(&page, "ins"));
    assert!(gone.len() == 1 && gone[0].starts_with(SHIPPED), "{gone:?}");
    assert!(came.len() == 1 && came[0].starts_with(LONGER), "{came:?}");
    // The other way round what came is gone.
    let back = bench.get(&format!("/rules/aliphatic-resin/versions?from={new}&to={old}")).await.text;
    assert_eq!((marks(&back, "del"), marks(&back, "ins")), (came, gone));
    // An old text comes back to the editor, and replaces what stands now when it is saved.
    let editor = bench.get(&format!("/rules/aliphatic-resin?version={old}")).await.text;
    assert!(editor.contains(SHIPPED) && editor.contains(&format!("name=\"version\" value=\"{new}\"")), "{editor}");
    assert_eq!(bench.get("/rules/aliphatic-resin?version=0123456789abcdef").await.status, 404);
    assert_eq!(bench.get("/rules/nothing/versions").await.status, 404);

    let dry = bench.post("/api/v1/glue-ups/g-1/rule", json!({"dry_run": true})).await.good();
    let page = bench.get("/cures/g-1/rule").await.text;
    assert_eq!(page.matches("<th scope=\"row\">").count(), dry["moved"].as_array().unwrap().len(), "{page}");
    assert_eq!(bench.get("/api/v1/glue-ups/g-1").await.good()["rule_version"], old);
    let form = [("key", "once"), ("version", new)];
    assert_eq!(send(&bench, "/cures/g-1/rule", &form).await.status, 200);
    assert_eq!(send(&bench, "/cures/g-1/rule", &form).await.status, 200, "a form sent twice moves it once");
    assert_eq!(bench.get("/api/v1/glue-ups/g-1").await.good()["rule_version"], new);
    let page = bench.get("/cures/g-1/rule").await.text;
    assert!(page.contains("it goes by this version already"), "{page}");
    assert!(bench.get("/cures/g-1").await.text.contains(&format!("By version {new} of its rule.")));
    let never = [("key", "never"), ("version", "0123456789abcdef")];
    assert_eq!(send(&bench, "/cures/g-1/rule", &never).await.status, 422);
    bench.stop().await;
}
