//! E-mail: one plain text message over TLS to the server in the settings. Its Message-ID is the same on every attempt, so
//! that a message taken twice is shown once.

use std::time::{Duration, UNIX_EPOCH};

use lettre::{
    AsyncSmtpTransport, AsyncTransport, Message as Mail, Tokio1Executor,
    message::{
        Mailbox,
        header::{ContentType, HeaderName, HeaderValue},
    },
    transport::smtp::{
        authentication::Credentials,
        client::{Certificate, Tls, TlsParameters},
    },
};

use super::{Failure, PATIENCE, deepest};
use crate::{
    alerts::message::Message,
    settings::{Email, Person},
    state::State,
};

pub(super) async fn send(state: &State, person: &Person, message: &Message) -> Result<(), Failure> {
    let settings = &state.settings.email;
    let mail = mail(state, person, message).map_err(Failure::forever)?;
    let transport = transport(settings).map_err(Failure::once)?;
    let sent = tokio::time::timeout(PATIENCE, transport.send(mail)).await;
    match sent {
        Err(_) => Err(Failure::once(format!("the mail server did not answer within {} s", PATIENCE.as_secs()))),
        Ok(Ok(_)) => Ok(()),
        // 5yz: the server will not take this message ever (RFC 5321 section 4.2.1).
        Ok(Err(e)) if e.is_permanent() => Err(Failure::forever(format!("the mail server refused it: {}", deepest(&e)))),
        Ok(Err(e)) => Err(Failure::once(deepest(&e))),
    }
}

fn mail(state: &State, person: &Person, message: &Message) -> Result<Mail, String> {
    let from: Mailbox = state.settings.email.from.parse().map_err(|_| "email.from is no address".to_string())?;
    let to: Mailbox = person.email.parse().map_err(|_| format!("{} has no e-mail address", person.name))?;
    let domain = from.email.domain().to_string();
    // An alert that is told again stands below the first time it was told, and what is taken back below what told it.
    let told = message.answers.as_ref().unwrap_or(&message.id);
    let thread = id(told.rsplit_once('.').map_or(told.as_str(), |(alert, _)| alert), &domain);
    let answers = message.answers.as_ref().map(|told| id(told, &domain));
    let references = answers.iter().fold(thread, |thread, told| format!("{thread} {told}"));
    let date = UNIX_EPOCH + Duration::from_millis(message.now_ms.max(0) as u64);
    let builder = answers.into_iter().fold(Mail::builder(), |mail, told| mail.in_reply_to(told));
    builder
        .from(from)
        .to(to)
        .date(date)
        .subject(&message.title)
        .message_id(Some(id(&message.id, &domain)))
        .references(references)
        // RFC 3834: nobody's holiday notice is to answer it.
        .raw_header(HeaderValue::new(HeaderName::new_from_ascii_str("Auto-Submitted"), "auto-generated".into()))
        .header(ContentType::TEXT_PLAIN)
        .body(message.body.clone())
        .map_err(|e| e.to_string())
}

/// An alert's name as a message id: colons may not stand there (RFC 5322 section 3.6.4).
fn id(name: &str, domain: &str) -> String {
    format!("<{}@{domain}>", name.replace(':', "."))
}

fn transport(settings: &Email) -> Result<AsyncSmtpTransport<Tokio1Executor>, String> {
    let (at_once, host, port) = settings.address().ok_or("email.url is no address of a mail server")?;
    let mut tls = TlsParameters::builder(host.into());
    if !settings.ca_file.as_os_str().is_empty() {
        let pem = std::fs::read(&settings.ca_file).map_err(|e| format!("email.ca_file: {e}"))?;
        tls = tls.add_root_certificate(Certificate::from_pem(&pem).map_err(|e| format!("email.ca_file: {e}"))?);
    }
    let tls = tls.build_rustls().map_err(|e| e.to_string())?;
    let tls = if at_once { Tls::Wrapper(tls) } else { Tls::Required(tls) };
    let mut builder =
        AsyncSmtpTransport::<Tokio1Executor>::builder_dangerous(host).port(port).tls(tls).timeout(Some(PATIENCE));
    if !settings.username.is_empty() {
        builder = builder.credentials(Credentials::new(settings.username.clone(), settings.password.to_string()));
    }
    Ok(builder.build())
}
