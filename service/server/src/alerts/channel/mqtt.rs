//! MQTT: a message on the person's own topic at the broker readings come from, taken when the broker says so (QoS 1).
//!
//! Alerts are few, so each has a short connection of its own, beside the session that hears readings: what it is handed is
//! taken or failed, and nothing waits in memory. By version 3.1.1, which brokers of version 5 speak too.

use rumqttc::{AsyncClient, Event, Incoming, MqttOptions, QoS, Transport};
use serde_json::json;

use super::{Failure, PATIENCE};
use crate::{
    alerts::{message::Message, words::TAKEN_BACK},
    settings::{Mqtt, Person},
    state::State,
};

pub(super) async fn send(state: &State, person: &Person, message: &Message) -> Result<(), Failure> {
    let settings = &state.settings.mqtt;
    let ids: Vec<&str> = message.alerts.iter().map(|alert| alert.id.as_str()).collect();
    let r#type = if message.takes_back { TAKEN_BACK } else { "alert" };
    let text = json!({"type": r#type, "id": message.id, "title": message.title, "body": message.body, "alerts": ids})
        .to_string();
    let topic = format!("{}/{}", settings.alerts, person.name);
    match tokio::time::timeout(PATIENCE, publish(settings, &topic, text)).await {
        Ok(taken) => taken.map_err(Failure::once),
        Err(_) => Err(Failure::once(format!("the broker did not answer within {} s", PATIENCE.as_secs()))),
    }
}

async fn publish(settings: &Mqtt, topic: &str, text: String) -> Result<(), String> {
    let address = settings.address().map_err(|e| e.to_string())?.ok_or("mqtt.url is empty")?;
    // Another name than that of the session: a broker ends the older of two connections of one name.
    let mut options = MqttOptions::new(format!("{}-tells", settings.client_id), address.host, address.port);
    options.set_transport(if address.tls { Transport::tls_with_default_config() } else { Transport::tcp() });
    if !settings.username.is_empty() {
        options.set_credentials(&settings.username, &*settings.password);
    }
    let (client, mut events) = AsyncClient::new(options, 4);
    client.publish(topic, QoS::AtLeastOnce, false, text).await.map_err(|e| e.to_string())?;
    let taken = |event: &Event| matches!(event, Event::Incoming(Incoming::PubAck(_)));
    while !taken(&events.poll().await.map_err(|e| e.to_string())?) {}
    // It is taken: a good-bye that cannot be said changes nothing.
    drop(client.disconnect().await);
    drop(events.poll().await);
    Ok(())
}
