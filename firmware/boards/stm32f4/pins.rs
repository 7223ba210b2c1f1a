//! Which pin is what. The names are those of the table in `firmware/WIRING.md`, and a test compares them.

use crate::hal::gpio::{
    PA0, PA1, PA2, PA3, PA5, PA6, PA7, PA11, PA12, PB6, PB7, PB8, PB9, PB10, PB12, PB13, PB14, PC0, PC1, PC2, PC3, PC4, PC5, PC6,
    PC7, PC8, PC9, PC10, PC11,
};
use crate::hal::gpio::{gpioa, gpiob, gpioc};

/// The UART's. Its usual pins, PA9 and PA10, are left alone: a board with a USB socket may have them at the socket.
pub type UartTx = PB6;
/// See [`UartTx`].
pub type UartRx = PB7;
/// The flow meter's.
pub type Flow = PA3;

macro_rules! pins {
    (($a:ident, $b:ident, $c:ident) $($name:ident: $pin:ident = $port:ident.$field:ident,)*) => {
        /// The pins that this board uses.
        pub struct Pins {
            $(pub $name: $pin,)*
        }

        impl Pins {
            /// Takes them from their ports.
            pub fn new($a: gpioa::Parts, $b: gpiob::Parts, $c: gpioc::Parts) -> Pins {
                Pins { $($name: $port.$field,)* }
            }
        }
    };
}

pins! { (a, b, c)
    uart_tx: UartTx = b.pb6,
    uart_rx: UartRx = b.pb7,
    usb_minus: PA11 = a.pa11,
    usb_plus: PA12 = a.pa12,
    spi_clock: PA5 = a.pa5,
    spi_in: PA6 = a.pa6,
    spi_out: PA7 = a.pa7,
    tank_select: PB12 = b.pb12,
    mash_select: PB13 = b.pb13,
    kettle_select: PB14 = b.pb14,
    i2c_clock: PB8 = b.pb8,
    i2c_data: PB9 = b.pb9,
    contactor: PC0 = c.pc0,
    tank_element: PC1 = c.pc1,
    kettle_element: PC2 = c.pc2,
    liquor_pump: PC3 = c.pc3,
    mash_pump: PC4 = c.pc4,
    wort_pump: PC5 = c.pc5,
    one_wire: PB10 = b.pb10,
    stop_loop: PC6 = c.pc6,
    key: PC7 = c.pc7,
    button: PC8 = c.pc8,
    knob_a: PC9 = c.pc9,
    knob_b: PC10 = c.pc10,
    knob_push: PC11 = c.pc11,
    tank_ntc: PA0 = a.pa0,
    mash_ntc: PA1 = a.pa1,
    kettle_ntc: PA2 = a.pa2,
    flow_meter: Flow = a.pa3,
}
