//! What the settings say of several shops: each has its own above what all share, and nothing that would join two.

use std::path::Path;

use benchclock::{NamedShop, Settings};

fn two(folder: &Path, north: &str, south: &str) -> Settings {
    let shop = |name: &str, own: &str| {
        let file = folder.join(format!("{name}.toml"));
        std::fs::write(&file, own).unwrap();
        format!("[[shops]]\nname = \"{name}\"\nhosts = [\"{name}.example\"]\nsettings = {file:?}\n")
    };
    let text = format!("[shop]\ntime_zone = \"Europe/Paris\"\n{}{}", shop("north", north), shop("south", south));
    Settings::read(&text, std::iter::empty()).expect("it is good")
}

#[test]
fn what_a_shop_says_stands_above_what_all_say_and_the_rest_is_its_own() {
    let folder = tempfile::tempdir().unwrap();
    let shared = two(folder.path(), "[shop]\nname = \"North\"", "[shop]\ntime_zone = \"Europe/Rome\"");
    let (north, south) = (shared.of_shop(0).expect("north"), shared.of_shop(1).expect("south"));
    assert_eq!((north.shop.name.as_str(), north.shop.time_zone.as_str()), ("North", "Europe/Paris"));
    assert_eq!((south.shop.name.as_str(), south.shop.time_zone.as_str()), ("The bench", "Europe/Rome"));
    assert_eq!((north.shop.id.as_str(), south.shop.id.as_str()), ("north", "south"));
    assert_eq!(south.store.path, Path::new("data/south/benchclock.db"));
    assert_eq!(south.scripts.folder, Path::new("data/south/scripts"));
    // Without names it is the shop of these settings, as it is.
    let lone = Settings::read("", std::iter::empty()).expect("defaults stand");
    assert_eq!(lone.served(), [NamedShop::default()]);
    assert_eq!(format!("{:?}", lone.of_shop(0).expect("lone")), format!("{lone:?}"));
}

#[test]
fn what_would_join_two_shops_is_refused_by_its_key() {
    let folder = tempfile::tempdir().unwrap();
    let broker = |id: &str, topic: &str, alerts: &str| {
        format!("[mqtt]\nurl = \"mqtt://b\"\nclient_id = \"{id}\"\ntopic = \"{topic}/{{zone}}\"\nalerts = \"{alerts}\"")
    };
    let north = format!("[store]\npath = \"data/x/a.db\"\n{}", broker("one", "north", "of-north"));
    for (south, key) in [
        ("[store]\npath = \"data/x/b.db\"", "store.path"),
        ("[store]\nbackups = \"data/north/backups\"", "store.backups"),
        ("[scripts]\nfolder = \"data/north/scripts\"", "scripts.folder"),
        ("[store]\nurl = \"postgres://x/y\"\n[shop]\nid = \"north\"", "shop.id"),
        (&broker("one", "south", "of-south"), "mqtt.client_id"),
        (&broker("two", "north", "of-south").replace("//b", "//b:1883/"), "mqtt.topic"),
        (&broker("two", "south", "of-north"), "mqtt.alerts"),
        ("[server]\nlisten = \"127.0.0.1:1\"", "server.listen"),
        ("[[shops]]\nname = \"west\"", "shops"),
        ("[shop]\ntime_zone = \"Middle/Earth\"", "shop.time_zone"),
    ] {
        let shared = two(folder.path(), &north, south);
        assert!(shared.of_shop(0).is_ok(), "{south}");
        assert_eq!(shared.of_shop(1).expect_err(south).key, format!("{key} (shop south)"));
    }
    let apart = two(folder.path(), &north, &broker("two", "south", "of-south"));
    assert!(apart.of_shop(1).is_ok());
}

#[test]
fn shops_that_cannot_be_told_apart_are_refused() {
    let shop = |name: &str, hosts: &str| format!("[[shops]]\nname = \"{name}\"\nhosts = {hosts}\n");
    let north = shop("north", "[\"north.example\"]");
    for (text, key) in [
        (shop("The North", "[\"a\"]"), "shops[0].name"),
        (shop("north", "[]"), "shops[0].hosts"),
        (shop("north", "[\"north.example:80\"]"), "shops[0].hosts"),
        (shop("north", "[\"http://north.example\"]"), "shops[0].hosts"),
        (format!("{north}{}", shop("north", "[\"a\"]")), "shops[1].name"),
        (format!("{north}{}", shop("south", "[\"NORTH.example\"]")), "shops[1].hosts"),
        (format!("[server]\npublic_url = \"http://a\"\n{north}"), "server.public_url"),
        (format!("[mqtt]\nurl = \"mqtt://b\"\n{north}"), "mqtt.url"),
        (format!("[[people]]\nname = \"mia\"\ntell = {{ else = [\"page\"] }}\n{north}"), "people"),
    ] {
        assert_eq!(Settings::read(&text, std::iter::empty()).expect_err(&text).key, key);
    }
}
