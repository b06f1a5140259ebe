//! The road from weather to letter, called by the daemon and the one-off commands alike.
