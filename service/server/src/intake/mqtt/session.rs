//! A session at a broker, version 3.1.1 or 5: the seam to the client library, so that it can be replaced here alone.

use std::time::Duration;

use actix_web::web::Bytes;
use rumqttc::{QoS, Transport, v5};

use crate::settings::{Address, Mqtt};

/// Largest message taken. One that is larger would break the connection, come again and break it again.
const LARGEST: u32 = 1024 * 1024;
/// How long the broker keeps what it has for us, seconds: a fortnight's holiday.
const KEPT_S: u32 = 14 * 24 * 3600;
/// Requests that may wait to be sent; acknowledgements mostly.
const REQUESTS: usize = 1024;

/// A session; asking it for what happens also keeps it alive.
pub(super) enum Session {
    V311(rumqttc::AsyncClient, Box<rumqttc::EventLoop>),
    V5(v5::AsyncClient, Box<v5::EventLoop>),
}

/// The other end of a session, with which messages are acknowledged.
#[derive(Clone)]
pub(super) enum Acks {
    V311(rumqttc::AsyncClient),
    V5(v5::AsyncClient),
}

/// A message, not yet acknowledged.
pub(super) struct Message {
    pub(super) topic: String,
    pub(super) payload: Bytes,
    receipt: Receipt,
}

enum Receipt {
    V311(rumqttc::Publish),
    V5(v5::mqttbytes::v5::Publish),
}

/// Something that happened in a session.
pub(super) enum Happened {
    Connected,
    Subscribed,
    /// The broker does not let us hear these topics.
    NotAllowed,
    Message(Box<Message>),
    Nothing,
}

impl Session {
    pub(super) fn new(mqtt: &Mqtt, address: &Address) -> Self {
        let (id, host, port) = (&mqtt.client_id, &address.host, address.port);
        let transport = if address.tls { Transport::tls_with_default_config() } else { Transport::tcp() };
        let keep_alive = Duration::from_secs(30);
        if mqtt.version == "5" {
            let mut options = v5::MqttOptions::new(id, host, port);
            options.set_transport(transport).set_keep_alive(keep_alive).set_clean_start(false).set_manual_acks(true);
            options.set_session_expiry_interval(Some(KEPT_S)).set_max_packet_size(Some(LARGEST));
            if !mqtt.username.is_empty() {
                options.set_credentials(&mqtt.username, &*mqtt.password);
            }
            let (client, events) = v5::AsyncClient::new(options, REQUESTS);
            return Self::V5(client, Box::new(events));
        }
        let mut options = rumqttc::MqttOptions::new(id, host, port);
        options.set_transport(transport).set_keep_alive(keep_alive).set_clean_session(false).set_manual_acks(true);
        options.set_max_packet_size(LARGEST as usize, LARGEST as usize);
        if !mqtt.username.is_empty() {
            options.set_credentials(&mqtt.username, &*mqtt.password);
        }
        let (client, events) = rumqttc::AsyncClient::new(options, REQUESTS);
        Self::V311(client, Box::new(events))
    }

    pub(super) fn acks(&self) -> Acks {
        match self {
            Self::V311(client, _) => Acks::V311(client.clone()),
            Self::V5(client, _) => Acks::V5(client.clone()),
        }
    }

    /// Asks for topics at QoS 1.
    pub(super) fn subscribe(&self, filter: &str) -> Result<(), String> {
        match self {
            Self::V311(client, _) => client.try_subscribe(filter, QoS::AtLeastOnce).map_err(|e| e.to_string()),
            Self::V5(client, _) => {
                let qos = v5::mqttbytes::QoS::AtLeastOnce;
                client.try_subscribe(filter, qos).map_err(|e| e.to_string())
            }
        }
    }

    /// Says good-bye, so that the broker does not think we broke down.
    pub(super) fn disconnect(&self) {
        // If it cannot be said the connection ends without it.
        match self {
            Self::V311(client, _) => drop(client.try_disconnect()),
            Self::V5(client, _) => drop(client.try_disconnect()),
        }
    }

    /// Waits for what happens next; connects first if it must.
    pub(super) async fn next(&mut self) -> Result<Happened, String> {
        match self {
            Self::V311(_, events) => Ok(match events.poll().await.map_err(|e| e.to_string())? {
                rumqttc::Event::Incoming(rumqttc::Incoming::ConnAck(_)) => Happened::Connected,
                rumqttc::Event::Incoming(rumqttc::Incoming::SubAck(ack)) => {
                    let refused = ack.return_codes.contains(&rumqttc::SubscribeReasonCode::Failure);
                    if refused { Happened::NotAllowed } else { Happened::Subscribed }
                }
                rumqttc::Event::Incoming(rumqttc::Incoming::Publish(publish)) => Happened::Message(Box::new(Message {
                    topic: publish.topic.clone(),
                    payload: publish.payload.clone(),
                    receipt: Receipt::V311(publish),
                })),
                _ => Happened::Nothing,
            }),
            Self::V5(_, events) => Ok(match events.poll().await.map_err(|e| e.to_string())? {
                v5::Event::Incoming(v5::Incoming::ConnAck(_)) => Happened::Connected,
                v5::Event::Incoming(v5::Incoming::SubAck(ack)) => {
                    let allowed = |code: &_| matches!(code, v5::mqttbytes::v5::SubscribeReasonCode::Success(_));
                    if ack.return_codes.iter().all(allowed) { Happened::Subscribed } else { Happened::NotAllowed }
                }
                v5::Event::Incoming(v5::Incoming::Publish(publish)) => Happened::Message(Box::new(Message {
                    topic: String::from_utf8_lossy(&publish.topic).into_owned(),
                    payload: publish.payload.clone(),
                    receipt: Receipt::V5(publish),
                })),
                _ => Happened::Nothing,
            }),
        }
    }
}

impl Acks {
    /// Tells the broker that a message need not come again.
    pub(super) async fn acknowledge(&self, message: &Message) {
        // What cannot be acknowledged comes again, and is known then.
        match (self, &message.receipt) {
            (Self::V311(client), Receipt::V311(publish)) => drop(client.ack(publish).await),
            (Self::V5(client), Receipt::V5(publish)) => drop(client.ack(publish).await),
            _ => {}
        }
    }
}
