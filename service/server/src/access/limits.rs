//! How often somebody may ask. A secret of 256 bits cannot be guessed however often one tries, so nothing here keeps a
//! token safe, and whoever shows a good one is never turned away for what others at the same address did wrong: a lock
//! that strangers can throw would lock the owner out. What is kept is the log, the database and the processor quiet.

use std::{
    net::IpAddr,
    num::NonZeroU32,
    sync::atomic::{AtomicU32, Ordering},
};

use governor::{DefaultKeyedRateLimiter, Quota, RateLimiter};

/// What strangers may ask for: the way in with all it is dressed with, many times over.
const STRANGER_PER_S: NonZeroU32 = NonZeroU32::new(20).expect("it is not zero");
const STRANGER_AT_ONCE: NonZeroU32 = NonZeroU32::new(100).expect("it is not zero");
/// Wrong secrets: ten at once, then six a minute.
const WRONG_PER_MINUTE: NonZeroU32 = NonZeroU32::new(6).expect("it is not zero");
const WRONG_AT_ONCE: NonZeroU32 = NonZeroU32::new(10).expect("it is not zero");
/// How many may be at once what is asked for in so many seconds.
const BURST_S: u32 = 5;
/// Every so many checks those who have been quiet are forgotten.
const SWEEP: u32 = 4096;

/// The limits of one service.
pub(crate) struct Limits {
    tokens: DefaultKeyedRateLimiter<String>,
    strangers: DefaultKeyedRateLimiter<IpAddr>,
    wrong: DefaultKeyedRateLimiter<IpAddr>,
    checks: AtomicU32,
}

impl Limits {
    /// Limits with so many requests a second for each token.
    pub(crate) fn new(requests_per_s: u32) -> Self {
        let requests_per_s = NonZeroU32::new(requests_per_s).unwrap_or(NonZeroU32::MIN);
        let at_once = requests_per_s.saturating_mul(NonZeroU32::new(BURST_S).expect("it is not zero"));
        Self {
            tokens: RateLimiter::keyed(Quota::per_second(requests_per_s).allow_burst(at_once)),
            strangers: RateLimiter::keyed(Quota::per_second(STRANGER_PER_S).allow_burst(STRANGER_AT_ONCE)),
            wrong: RateLimiter::keyed(Quota::per_minute(WRONG_PER_MINUTE).allow_burst(WRONG_AT_ONCE)),
            checks: AtomicU32::new(0),
        }
    }

    /// Whether the holder of a token may ask once more.
    pub(super) fn token(&self, name: &str) -> bool {
        self.sweep();
        self.tokens.check_key(&name.to_string()).is_ok()
    }

    /// Whether somebody without a token may ask once more from an address.
    pub(super) fn stranger(&self, client: IpAddr) -> bool {
        self.sweep();
        self.strangers.check_key(&source(client)).is_ok()
    }

    /// Whether one more wrong secret from an address is worth a look.
    pub(super) fn wrong(&self, client: IpAddr) -> bool {
        self.sweep();
        self.wrong.check_key(&source(client)).is_ok()
    }

    /// Who has been quiet long enough is as good as new, and takes no room.
    fn sweep(&self) {
        if self.checks.fetch_add(1, Ordering::Relaxed).is_multiple_of(SWEEP) {
            self.tokens.retain_recent();
            self.strangers.retain_recent();
            self.wrong.retain_recent();
        }
    }
}

/// Whoever has one IPv6 address has the 2^64 of its network (RFC 4291 section 2.5.4).
fn source(client: IpAddr) -> IpAddr {
    match client.to_canonical() {
        IpAddr::V6(v6) => IpAddr::from((u128::from(v6) >> 64 << 64).to_be_bytes()),
        v4 @ IpAddr::V4(_) => v4,
    }
}
