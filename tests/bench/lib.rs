//! The bench: what every test stands at.
