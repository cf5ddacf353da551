//! The seam to a database: what the service asks of one, in words of the service.
//!
//! A database that several instances of the service write to (`is_shared`) has a pen and a duty besides; one that belongs
//! to one program has both always, and there those operations do nothing.

use std::{ops::ControlFlow, path::Path, time::Duration};

use facts::{Reading, Recorded};

use crate::{
    Answer, Delivery, Each, EachPiece, Error, Held, HeldState, Mean, NewDelivery, Off, Piece, Row, Run, Saying,
    Subscription, Token, WhichDeliveries,
};

/// What others wrote.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Since {
    /// Facts, in the order of the journal.
    pub facts: Vec<Recorded>,
    /// Readings, in the order they came.
    pub readings: Vec<Reading>,
}

/// What the service asks of a database.
pub trait Database: Send {
    /// Whether other programs may write to the same shop.
    fn is_shared(&self) -> bool {
        false
    }

    /// Takes the pen: until `commit` or `lay_down` nobody else says anything in this shop. Gives what others said since
    /// this connection was last asked, so that what is to be said next can be held against it.
    ///
    /// # Errors
    /// When the database is not reached, or somebody holds the pen too long. It is not held then.
    fn take_pen(&mut self) -> Result<Since, Error> {
        Ok(Since::default())
    }

    /// Lays the pen down without having said anything.
    fn lay_down(&mut self) {}

    /// What others said since this connection was last asked.
    ///
    /// # Errors
    /// When the database cannot be read; the same is told next time.
    fn since(&mut self) -> Result<Since, Error> {
        Ok(Since::default())
    }

    /// From here until `go_on` everything is read as it stands now; what is said later is told by `since`.
    ///
    /// # Errors
    /// When the database is not reached.
    fn stand_still(&mut self) -> Result<(), Error> {
        Ok(())
    }

    /// Looks at what is there from now on.
    ///
    /// # Errors
    /// When the database is not reached.
    fn go_on(&mut self) -> Result<(), Error> {
        Ok(())
    }

    /// Waits until another connection said something; whether one may have, which is so too when nobody listened before.
    ///
    /// # Errors
    /// When the database is not reached.
    fn wait_for_news(&mut self, _at_most: Duration) -> Result<bool, Error> {
        Ok(false)
    }

    /// Whether this connection has the duty of telling alerts, taking it if nobody has it. It must be asked again within
    /// three seconds to keep it, and loses it when the program ends.
    ///
    /// # Errors
    /// When the database is not reached; the duty is lost then.
    fn on_duty(&mut self) -> Result<bool, Error> {
        Ok(true)
    }

    /// Writes sayings in one transaction and gives their facts' places in the journal, in order.
    ///
    /// # Errors
    /// Nothing is written then.
    fn commit(&mut self, sayings: &[&Saying]) -> Result<Vec<i64>, Error>;

    /// The answers kept under these keys.
    ///
    /// # Errors
    /// When the database cannot be read.
    fn answers(&mut self, keys: &[&str]) -> Result<Vec<Answer>, Error>;

    /// Facts after a place in the journal, at most so many.
    ///
    /// # Errors
    /// When one cannot be read.
    fn facts_after(&mut self, seq: i64, at_most: usize) -> Result<Vec<Recorded>, Error>;

    /// Every fact of one kind, in order.
    ///
    /// # Errors
    /// When one cannot be read.
    fn facts_of(&mut self, kind: &str) -> Result<Vec<Recorded>, Error>;

    /// Every reading in force of a zone from an instant on, oldest first.
    ///
    /// # Errors
    /// When the database cannot be read.
    fn readings(&mut self, zone: &facts::ZoneId, from_ms: i64, each: &mut dyn FnMut(Reading)) -> Result<(), Error>;

    /// Readings of a zone that are or were held back, in one state, in the order they came, after an id.
    ///
    /// # Errors
    /// When the database cannot be read.
    fn held(&mut self, zone: &facts::ZoneId, state: HeldState, after: i64, at_most: usize) -> Result<Vec<Held>, Error>;

    /// One reading that is or was held back.
    ///
    /// # Errors
    /// When the database cannot be read.
    fn held_one(&mut self, id: i64) -> Result<Option<Held>, Error>;

    /// Deliveries waiting whose time has come, oldest first, at most so many of each channel.
    ///
    /// # Errors
    /// When the database cannot be read.
    fn due_deliveries(&mut self, now_ms: i64, of_each: usize) -> Result<Vec<Delivery>, Error>;

    /// Makes due at `now_ms` what waits and was due by `before_ms`: for a clock that was set back.
    ///
    /// # Errors
    /// Nothing is changed then.
    fn bring_forward(&mut self, now_ms: i64, before_ms: i64) -> Result<(), Error>;

    /// When each channel that has something waiting is to be tried next, ms.
    ///
    /// # Errors
    /// When the database cannot be read.
    fn next_deliveries(&mut self) -> Result<Vec<(String, i64)>, Error>;

    /// What a channel took at one instant, which is one message, in order of rows.
    ///
    /// # Errors
    /// When the database cannot be read.
    fn taken_at(&mut self, channel: &str, at_ms: i64) -> Result<Vec<Delivery>, Error>;

    /// Every delivery of an alert.
    ///
    /// # Errors
    /// When the database cannot be read.
    fn deliveries_of(&mut self, alert: &str) -> Result<Vec<Delivery>, Error>;

    /// Deliveries to a channel that were put in by now, were not tried yet: due, or waiting for company.
    ///
    /// # Errors
    /// When the database cannot be read.
    fn fresh_deliveries(&mut self, channel: &str, now_ms: i64) -> Result<Vec<Delivery>, Error>;

    /// Deliveries, the newest first.
    ///
    /// # Errors
    /// When the database cannot be read.
    fn list_deliveries(&mut self, which: &WhichDeliveries, at_most: usize) -> Result<Vec<Delivery>, Error>;

    /// The newest delivery of each channel that was tried.
    ///
    /// # Errors
    /// When the database cannot be read.
    fn last_tried(&mut self) -> Result<Vec<Delivery>, Error>;

    /// Writes down how deliveries went, and in the same breath what is to be delivered because of that.
    ///
    /// # Errors
    /// Nothing is written then.
    fn record_deliveries(&mut self, gone: &[Delivery], next: &[NewDelivery]) -> Result<(), Error>;

    /// Keeps a browser's subscription, in place of what was kept under its id.
    ///
    /// # Errors
    /// Nothing is kept then.
    fn put_subscription(&mut self, subscription: &Subscription) -> Result<(), Error>;

    /// Subscriptions of one person, or of all.
    ///
    /// # Errors
    /// When the database cannot be read.
    fn subscriptions(&mut self, person: Option<&str>) -> Result<Vec<Subscription>, Error>;

    /// Forgets a subscription; whether there was one.
    ///
    /// # Errors
    /// Nothing is forgotten then.
    fn forget_subscription(&mut self, id: &str) -> Result<bool, Error>;

    /// A channel's receiver wants no more.
    ///
    /// # Errors
    /// Nothing is written then.
    fn switch_off(&mut self, off: &Off) -> Result<(), Error>;

    /// A channel is tried again.
    ///
    /// # Errors
    /// Nothing is written then.
    fn switch_on(&mut self, channel: &str) -> Result<(), Error>;

    /// Channels whose receivers want no more.
    ///
    /// # Errors
    /// When the database cannot be read.
    fn switched_off(&mut self) -> Result<Vec<Off>, Error>;

    /// Keeps bytes under a name, unless there are some of that name: the first stay. Whether there were none.
    ///
    /// # Errors
    /// Nothing is kept then.
    fn keep_file(&mut self, name: &str, bytes: &[u8]) -> Result<bool, Error>;

    /// The bytes kept under a name.
    ///
    /// # Errors
    /// When the database cannot be read.
    fn file(&mut self, name: &str) -> Result<Option<Vec<u8>>, Error>;

    /// Forgets what is kept under a name; whether there was something.
    ///
    /// # Errors
    /// Nothing is forgotten then.
    fn forget_file(&mut self, name: &str) -> Result<bool, Error>;

    /// Keeps a token or a session; whether the token's name was free, for a name is never given twice.
    ///
    /// # Errors
    /// Nothing is kept then.
    fn add_token(&mut self, token: &Token) -> Result<bool, Error>;

    /// Every token, those taken away too, and every session.
    ///
    /// # Errors
    /// When the database cannot be read.
    fn tokens(&mut self) -> Result<Vec<Token>, Error>;

    /// Notes when a token or session was last used.
    ///
    /// # Errors
    /// Nothing is noted then.
    fn token_used(&mut self, id: &str, at_ms: i64) -> Result<(), Error>;

    /// Takes the token of a name away, and ends its sessions; whether there was one.
    ///
    /// # Errors
    /// Nothing is changed then.
    fn revoke_token(&mut self, name: &str, by: &str, at_ms: i64) -> Result<bool, Error>;

    /// Ends a session.
    ///
    /// # Errors
    /// It goes on then.
    fn end_session(&mut self, id: &str) -> Result<(), Error>;

    /// Writes down that a recurring job ran.
    ///
    /// # Errors
    /// Nothing is written then.
    fn record_run(&mut self, run: &Run) -> Result<(), Error>;

    /// The last run of each recurring job.
    ///
    /// # Errors
    /// When the database cannot be read.
    fn last_runs(&mut self) -> Result<Vec<Run>, Error>;

    /// Puts means in the place of a zone's readings before an instant, in one breath; those held back go too.
    ///
    /// # Errors
    /// Nothing is changed then.
    fn thin_readings(&mut self, zone: &facts::ZoneId, before_ms: i64, means: &[Mean]) -> Result<(), Error>;

    /// The means of a zone in a stretch of time, oldest first.
    ///
    /// # Errors
    /// When the database cannot be read.
    fn means(&mut self, zone: &str, from_ms: i64, to_ms: i64) -> Result<Vec<Mean>, Error>;

    /// Forgets means older than an instant.
    ///
    /// # Errors
    /// Nothing is forgotten then.
    fn forget_means(&mut self, before_ms: i64) -> Result<(), Error>;

    /// Forgets kept answers and finished deliveries older than an instant, and sessions not used since.
    ///
    /// # Errors
    /// Nothing is forgotten then.
    fn forget_finished(&mut self, before_ms: i64) -> Result<(), Error>;

    /// Days (of 86,400,000 ms since 1970, UTC) on which anything was written down up to an instant, the newest first.
    ///
    /// # Errors
    /// When the database cannot be read.
    fn days_on_record(&mut self, until_ms: i64, at_most: usize) -> Result<Vec<i64>, Error>;

    /// Proves that a write succeeds by making one: always the same row, which means nothing.
    ///
    /// # Errors
    /// What a write would have met.
    fn probe(&mut self) -> Result<(), Error>;

    /// Copies the database whole into a new file and checks the copy.
    ///
    /// # Errors
    /// When the copy cannot be made or is not sound.
    fn backup(&mut self, to: &Path) -> Result<(), Error>;

    /// Hands out everything there is of the shop, as it stood at one instant, always in the same order.
    ///
    /// # Errors
    /// When a piece cannot be read; what was handed out until then is not the whole.
    fn everything(&mut self, each: &mut EachPiece<'_>) -> Result<(), Error>;

    /// Takes the whole of another database into this empty one, all or nothing; how many pieces that were.
    ///
    /// # Errors
    /// When there is anything in it already, or a piece cannot be had or put. Nothing is changed then.
    fn fill(&mut self, pieces: &mut dyn Iterator<Item = Result<Piece, String>>) -> Result<u64, Error>;

    /// Hands out everything the shop has said and read: `everything` without what belongs to the running service.
    ///
    /// # Errors
    /// When a row cannot be read; what was handed out until then is not the whole.
    fn export(&mut self, each: &mut Each<'_>) -> Result<(), Error> {
        self.everything(&mut |piece| match piece {
            Piece::Row(row) => each(row),
            _ => ControlFlow::Break(()),
        })
    }

    /// Takes what another database exported into this empty one, all or nothing; how many rows that were.
    ///
    /// # Errors
    /// When there is anything in it already, or a row cannot be had or put. Nothing is changed then.
    fn import(&mut self, rows: &mut dyn Iterator<Item = Result<Row, String>>) -> Result<u64, Error> {
        self.fill(&mut rows.map(|row| row.map(Piece::Row)))
    }

    /// Opens the same database again, for a second reader or after a failure.
    ///
    /// # Errors
    /// When it cannot be opened.
    fn reopen(&self) -> Result<Box<dyn Database>, Error>;
}
