//! The ways through the pages: each is found from the board by links alone, answers, and says what it is.

use std::collections::{BTreeMap, VecDeque};

use super::access::{PAGES, busy};

/// Links of a page that lead to other pages of the service.
fn links(page: &str) -> Vec<String> {
    let hrefs = page.split("href=\"").skip(1).filter_map(|rest| rest.split('"').next());
    let pages = hrefs.filter(|href| href.starts_with('/') && !href.starts_with("/api/v1") && !href.contains(".jpg"));
    let files = ["/look.css", "/icon.svg", "/icon-180.png", "/app.webmanifest"];
    pages.filter(|href| !files.contains(href)).map(|href| href.replace("&#38;", "&").replace("&amp;", "&")).collect()
}

fn between<'a>(page: &'a str, from: &str, to: &str) -> &'a str {
    page.split(from).nth(1).and_then(|rest| rest.split(to).next()).unwrap_or_default()
}

/// Addresses that nothing links to: what nobody would look for, and what a form asks.
fn is_asked(path: &str) -> bool {
    path.ends_with("/nothing")
        || path.contains("material=")
        || path.contains("crack_mm=")
        || path.contains("other=")
        || path.contains("before=")
}

#[tokio::test]
async fn every_page_is_found_from_the_board_and_each_says_what_it_is() {
    let bench = busy().await;
    let mut found: BTreeMap<String, String> = BTreeMap::new();
    let mut next = VecDeque::from(["/".to_string()]);
    while let Some(path) = next.pop_front() {
        let path = path.split('#').next().unwrap().to_string();
        if path.is_empty() || found.contains_key(&path) {
            continue;
        }
        let page = bench.send(bench.http().get(bench.url(&path)).header("accept", "text/html")).await;
        assert_eq!(page.status, 200, "{path} is linked to and answers {}", page.status);
        // A drawing or a calendar is no page.
        if !page.media.starts_with("text/html") {
            continue;
        }
        next.extend(links(&page.text));
        found.insert(path, page.text);
    }
    for path in PAGES.iter().filter(|path| !is_asked(path)) {
        assert!(found.contains_key(*path), "nothing leads to {path}");
    }
    for (path, page) in &found {
        let title = between(page, "<title>", "</title>");
        let (says, shop) = title.rsplit_once(", ").unwrap_or_else(|| panic!("{path} has the title {title}"));
        assert!(!says.trim().is_empty() && !shop.is_empty(), "{path} has the title {title}");
        assert_eq!(page.matches("<h1").count(), 1, "{path} has another number of headings than one");
        assert!(page.contains("<nav aria-label=\"Pages\">"), "{path} leads nowhere");
    }
    println!("{} pages found", found.len());
    bench.stop().await;
}
