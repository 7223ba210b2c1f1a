//! The rig: the hardware's figures, in SI units, as plain data. Files are read by [`crate::files`]; physics is in [`crate::plant`].
//!
//! Every field has a default that suits a home brewery of about 40 L, so a file need only name the elements and the probes.

use copperhold_core::vessel::{Element, PerElement, Vessel};

/// A brewery: three vessels, two elements, a coil, pumps and the place it stands in.
#[derive(Debug, Clone, PartialEq)]
pub struct Rig {
    /// What the brewer calls it.
    pub name: String,
    /// Supply.
    pub mains: Mains,
    /// Where it stands.
    pub site: Site,
    /// Hot liquor tank.
    pub liquor_tank: VesselRig,
    /// Mash tun. Its `element` is `None`.
    pub mash_tun: VesselRig,
    /// Boil kettle.
    pub boil_kettle: VesselRig,
    /// Heat-exchange coil in the liquor tank.
    pub coil: Coil,
    /// Pumps and hoses.
    pub pumps: PumpRig,
    /// Wort chiller.
    pub chiller: Chiller,
}

impl Rig {
    /// A 40 L rig for tests: 5.5 kW at 240 V, 60 Hz, sea level, Pt100 thermometers, bare steel, lids on.
    pub fn example() -> Rig {
        let pt100 = Probe { kind: ProbeKind::Pt100, lag_s: 5.0, delay_s: 1.0, noise_k: 0.01, offset_k: 0.0 };
        let element = ElementRig { power_w: 5500.0, rated_volts: 240.0, sheath_j_per_k: 880.0, sheath_w_per_k: 220.0 };
        let heated = VesselRig {
            capacity_l: 40.0,
            diameter_m: 0.37,
            wall_kg: 4.5,
            emissivity: 0.25,
            insulation: 0.0,
            lid: true,
            element_top_l: 6.0,
            dead_space_l: 1.0,
            mixing_s: 18.0,
            element: Some(element),
            probe: pt100,
            limit_c: None,
            boil_loss_w: None,
        };
        Rig {
            name: "example".to_owned(),
            mains: Mains { volts: 240.0, hertz: 60, measured: false },
            site: Site { altitude_m: 0.0, air_c: 20.0, humidity: 0.5, tap_c: 12.0, tap_l_per_min: 12.0 },
            liquor_tank: heated,
            mash_tun: VesselRig { element: None, element_top_l: 0.0, mixing_s: 25.0, ..heated },
            boil_kettle: VesselRig { lid: false, ..heated },
            coil: Coil { ua_w_per_k: 600.0 },
            pumps: PumpRig {
                mash_l_per_min: 8.0,
                liquor_l_per_min: 8.0,
                run_off_l_per_min: 0.6,
                wort_l_per_min: 8.0,
                hose_l: 1.0,
                hose_w_per_k: 6.0,
                flow_meter: false,
            },
            chiller: Chiller { ua_w_per_k: 1200.0, water_l_per_min: 10.0 },
        }
    }

    /// The figures of one vessel.
    pub fn vessel(&self, vessel: Vessel) -> &VesselRig {
        match vessel {
            Vessel::LiquorTank => &self.liquor_tank,
            Vessel::MashTun => &self.mash_tun,
            Vessel::BoilKettle => &self.boil_kettle,
        }
    }

    /// Power of each element at the present mains voltage, in watts: `P = P_rated (V / V_rated)^2` (Ohm's law, fixed resistance).
    pub fn element_power_w(&self) -> PerElement<f64> {
        PerElement::build(|element: Element| {
            self.vessel(element.vessel()).element.map_or(0.0, |e| e.power_w * (self.mains.volts / e.rated_volts).powi(2))
        })
    }
}

/// Electricity supply.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mains {
    /// RMS voltage at the elements, 90 to 260 V.
    pub volts: f64,
    /// 50 or 60 Hz.
    pub hertz: u8,
    /// The controller measures the voltage at the elements: shares of full power are made good for it.
    pub measured: bool,
}

/// The place and the day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Site {
    /// Height above sea level, -400 to 4000 m.
    pub altitude_m: f64,
    /// Air temperature, degrees Celsius.
    pub air_c: f64,
    /// Relative humidity, 0 to 1.
    pub humidity: f64,
    /// Tap water temperature, degrees Celsius.
    pub tap_c: f64,
    /// Flow of the tap, L/min.
    pub tap_l_per_min: f64,
}

/// One vessel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VesselRig {
    /// Brimful volume, L.
    pub capacity_l: f64,
    /// Inner diameter, m.
    pub diameter_m: f64,
    /// Mass of the wall that follows the liquid's temperature, kg of stainless steel.
    pub wall_kg: f64,
    /// Outer emissivity of the wall, 0 to 1.
    pub emissivity: f64,
    /// Share of the bare wall's loss that insulation stops, 0 to 0.95.
    pub insulation: f64,
    /// Whether a lid is on while it heats and holds. The lid is off in the boil.
    pub lid: bool,
    /// Volume below which the element is uncovered, L.
    pub element_top_l: f64,
    /// Volume that stays behind when drained, L.
    pub dead_space_l: f64,
    /// Time constant with which heat at the element or the inlet reaches the thermometer's place, s.
    pub mixing_s: f64,
    /// The electric element, if it has one.
    pub element: Option<ElementRig>,
    /// The thermometer.
    pub probe: Probe,
    /// Hard limit: the guard trips above it, degrees Celsius. `None`: derived (tank and tun 90, kettle 4 above boiling).
    pub limit_c: Option<f64>,
    /// Power of a boiling kettle that does not become vapour, as two volumes taught it, W. `None`: derived from its figures.
    pub boil_loss_w: Option<f64>,
}

/// An immersion element.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ElementRig {
    /// Rated power, W.
    pub power_w: f64,
    /// Voltage of that rating, V.
    pub rated_volts: f64,
    /// Heat capacity of the sheath and its filling, J/K.
    pub sheath_j_per_k: f64,
    /// Conductance from the sheath to the liquid, W/K.
    pub sheath_w_per_k: f64,
}

/// The kind of thermometer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ProbeKind {
    /// Platinum RTD, 100 ohm, through a 15-bit front end.
    Pt100,
    /// 10 kilo-ohm thermistor on a 12-bit converter.
    Ntc10k,
    /// One-wire digital thermometer, 12 bit.
    Ds18b20,
}

/// A thermometer as fitted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Probe {
    /// Its kind: decides quantisation and how it can fail.
    pub kind: ProbeKind,
    /// Time constant of the probe in its well, s.
    pub lag_s: f64,
    /// Transport delay before it sees the liquid, s.
    pub delay_s: f64,
    /// Standard deviation of the noise, K.
    pub noise_k: f64,
    /// Calibration error, K.
    pub offset_k: f64,
}

/// Heat-exchange coil in the liquor tank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coil {
    /// Overall conductance at the recirculation flow, W/K.
    pub ua_w_per_k: f64,
}

/// Pumps and hoses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PumpRig {
    /// Recirculation through the coil, L/min.
    pub mash_l_per_min: f64,
    /// Tank to tun, L/min.
    pub liquor_l_per_min: f64,
    /// Run-off from tun to kettle during the sparge, L/min.
    pub run_off_l_per_min: f64,
    /// Whirlpool and chiller, L/min.
    pub wort_l_per_min: f64,
    /// Volume held in the recirculation hoses and coil, L.
    pub hose_l: f64,
    /// Heat loss of the recirculation hoses, W/K.
    pub hose_w_per_k: f64,
    /// A flow meter behind the mash pump.
    pub flow_meter: bool,
}

/// Wort chiller (counterflow or plate).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chiller {
    /// Overall conductance, W/K.
    pub ua_w_per_k: f64,
    /// Cooling water flow, L/min.
    pub water_l_per_min: f64,
}
