//! Places that last for ever, for what the main loop owns.

/// Puts a value in a place of its own that lasts for ever.
macro_rules! place {
    ($type:ty, $value:expr) => {
        {
            // Made with interrupts on; only moved with them off.
            let value = $value;
            match cortex_m::singleton!(: $type = value) {
                Some(place) => place,
                None => $crate::last_resort::stop(),
            }
        }
    };
}
