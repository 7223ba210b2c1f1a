//! Which pin is what. The names are those of the table in `firmware/WIRING.md`, and a test compares them.

use crate::hal;

hal::bsp_pins!(
    Gpio0 { name: uart_tx },
    Gpio1 { name: uart_rx },
    Gpio2 { name: spi_clock },
    Gpio3 { name: spi_out },
    Gpio4 { name: spi_in },
    Gpio5 { name: tank_select },
    Gpio6 { name: mash_select },
    Gpio7 { name: kettle_select },
    Gpio8 { name: i2c_data },
    Gpio9 { name: i2c_clock },
    Gpio10 { name: contactor },
    Gpio11 { name: tank_element },
    Gpio12 { name: kettle_element },
    Gpio13 { name: liquor_pump },
    Gpio14 { name: mash_pump },
    Gpio15 { name: wort_pump },
    Gpio16 { name: one_wire },
    Gpio17 { name: stop_loop },
    Gpio18 { name: key },
    Gpio19 { name: button },
    Gpio20 { name: knob_a },
    Gpio21 { name: knob_b },
    Gpio22 { name: knob_push },
    Gpio26 { name: tank_ntc },
    Gpio27 { name: mash_ntc },
    Gpio28 { name: kettle_ntc },
);
