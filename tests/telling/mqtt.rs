//! MQTT, by a real broker (mosquitto): published on the person's topic, delivered when the broker has it.

use std::time::Duration;

use rumqttc::{AsyncClient, Event, Incoming, MqttOptions, QoS};
use serde_json::{Value, json};

use super::{last_to, outbox, person, shop, told};
use crate::intake::mqtt::{Broker, free_port};

#[tokio::test(flavor = "multi_thread")]
async fn an_alert_is_published_on_the_topic_of_its_person_and_waits_while_the_broker_is_away() {
    let (port, folder) = (free_port(), tempfile::tempdir().unwrap());
    let mut shop = shop("");
    shop.settings.mqtt.url = format!("mqtt://127.0.0.1:{port}");
    shop.settings.people = vec![person("mia", &["mqtt"])];
    let bench = told(shop).await;
    bench.deliveries().await;
    let waits = last_to(&bench, "mia:mqtt").await;
    assert_eq!(waits["state"], "waiting");
    assert!(waits["error"].as_str().unwrap().contains("refused"), "{waits}");
    let _broker = Broker::start(folder.path(), port);
    let (client, mut events) = AsyncClient::new(MqttOptions::new("listener", "127.0.0.1", port), 8);
    client.subscribe("benchclock-alerts/#", QoS::AtLeastOnce).await.unwrap();
    let mut next = async || loop {
        match events.poll().await {
            Ok(Event::Incoming(Incoming::SubAck(_))) => return None,
            Ok(Event::Incoming(Incoming::Publish(publish))) => {
                return Some((publish.topic, serde_json::from_slice::<Value>(&publish.payload).unwrap()));
            }
            Ok(_) => {}
            Err(_) => tokio::time::sleep(Duration::from_millis(50)).await,
        }
    };
    assert_eq!(next().await, None);
    bench.wait_seconds(5);
    assert_eq!(bench.deliveries().await, 1);
    assert_eq!(outbox(&bench).await, ["mia:mqtt delivered"], "{}", last_to(&bench, "mia:mqtt").await);
    let (topic, said) = tokio::time::timeout(Duration::from_secs(30), next()).await.unwrap().unwrap();
    let alert = bench.alert("g-1:scrape_flush").await;
    assert_eq!(topic, "benchclock-alerts/mia");
    assert_eq!((&said["title"], &said["body"]), (&alert["title"], &alert["body"]));
    assert_eq!((&said["type"], &said["alerts"]), (&json!("alert"), &json!(["g-1:scrape_flush"])));
    // Taken back on the same topic, under the same alert.
    bench.post("/api/v1/glue-ups/g-1/withdraw", json!({"reason": "registered twice"})).await.good();
    assert_eq!(bench.deliveries().await, 1);
    let (topic, said) = tokio::time::timeout(Duration::from_secs(30), next()).await.unwrap().unwrap();
    assert_eq!(topic, "benchclock-alerts/mia");
    assert_eq!((&said["type"], &said["alerts"]), (&json!("alert.retracted"), &json!(["g-1:scrape_flush"])));
    bench.stop().await;
}
