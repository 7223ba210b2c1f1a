//! Every row of the reference tables that the plant's physics can answer, and by name those that it does not.

use copperhold::plant::{air, coil, loss, probe, water};
use copperhold::rig::ProbeKind;
use copperhold_tests::reference::{self, Row, check};

fn celsius(fahrenheit: f64) -> f64 {
    (fahrenheit - 32.0) / 1.8
}

#[test]
fn water_has_the_properties_of_iapws_95() {
    let not_atmospheric = "compressed water off the range of a kettle: the row checks the standard's own program";
    let excluded = [
        ("IAPWS95_check_pressure", not_atmospheric),
        ("IAPWS95_check_cv", not_atmospheric),
        ("IAPWS95_check_speed_of_sound", not_atmospheric),
        ("IF97_check_v", not_atmospheric),
        ("IF97_check_h", not_atmospheric),
        ("IF97_check_cp", not_atmospheric),
    ];
    check("water_properties.csv", (147, 6), &excluded, |row| {
        let t = || row.input("T_C");
        Some(match row.quantity.as_str() {
            "density" => water::density(t()),
            "specific_heat_cp" => water::specific_heat(t()) / 1e3,
            "enthalpy" => water::enthalpy(t()) / 1e3,
            "viscosity" => water::viscosity(t()) * 1e3,
            "thermal_conductivity" => water::conductivity(t()),
            "latent_heat" => water::latent_heat(t()) / 1e3,
            "saturation_pressure" => water::saturation_pressure(t()) / 1e3,
            "saturation_temperature" => water::saturation_temperature(row.input("p_kPa") * 1e3),
            "volume_ratio_V100_over_V20" | "volume_ratio_V66_over_V20" => {
                water::density(row.input("T1_C")) / water::density(row.input("T2_C"))
            }
            "mean_cp_between" => {
                let (a, b) = (row.input("T1_C"), row.input("T2_C"));
                (water::enthalpy(b) - water::enthalpy(a)) / (b - a) / 1e3
            }
            _ => return None,
        })
    });
}

#[test]
fn water_boils_where_the_standard_atmosphere_says() {
    let excluded = [("boiling_point_elevation", "wort boils as water in the plant: 0.2 K at 12 P, documented")];
    check("boiling_altitude.csv", (51, 4), &excluded, |row| {
        Some(match row.quantity.as_str() {
            "pressure" => air::pressure_pa(row.input("H_m")) / 1e3,
            "pressure_published" => air::pressure_pa(row.input("H_ft") * 0.3048) / 1e3,
            "boiling_point" => air::boiling_point_c(row.input("H_m")),
            "boiling_point_at_pressure" => water::saturation_temperature(row.input("p_kPa") * 1e3),
            "dTb_dp" => {
                let p = row.input("p_kPa") * 1e3;
                water::saturation_temperature(p + 500.0) - water::saturation_temperature(p - 500.0)
            }
            _ => return None,
        })
    });
}

#[test]
fn surfaces_lose_what_the_published_correlations_say() {
    let other = "another correlation, not used by the plant; the spread between them is its honest uncertainty";
    let excluded = [
        ("evaporation_Shah", other),
        ("evaporation_analogy_low_rate", other),
        ("I-P_constant_95_in_SI", "a conversion between two printings of one formula"),
    ];
    const ROOM_PA: f64 = 101_325.0;
    check("evaporation.csv", (113, 21), &excluded, |row| {
        let area = || std::f64::consts::PI / 4.0 * row.input("D_m").powi(2);
        let evaporation = |v: f64| loss::evaporation_w_per_m2(row.input("Tw_C"), row.input("Ta_C"), row.input("RH"), v) * area();
        let kg_per_h = |watts: f64| watts / water::latent_heat(row.input("Tw_C")) * 3600.0;
        let wall = || (row.input("Ts_C"), row.input("Ta_C"), row.input("L_m"));
        let film = || {
            let (s, a, length) = wall();
            let film_c = 0.5 * (s + a);
            let at = air::Air::at(film_c, ROOM_PA);
            (at.rayleigh(film_c, s - a, length), at.prandtl())
        };
        let h = || {
            let (s, a, length) = wall();
            loss::convection_wall(s, a, length, ROOM_PA)
        };
        let h_radiation = || loss::radiation(row.input("Ts_C"), row.input("Ta_C"), row.input("emissivity"));
        Some(match row.quantity.as_str() {
            "surface_area" => area(),
            "saturation_pressure" => water::saturation_pressure(row.input("T_C")) / 1e3,
            "evaporation_ASHRAE" => kg_per_h(evaporation(row.input("V_m_per_s"))),
            "evaporation_heat_ASHRAE" => evaporation(row.input("V_m_per_s")),
            // Smith, Lof and Jones 1998: undisturbed pools evaporated 74 % of it.
            "evaporation_Smith_undisturbed" => 0.74 * kg_per_h(evaporation(0.0)),
            "Rayleigh" => film().0,
            "Nusselt_Churchill_Chu" if row.inputs.contains_key("Ra") => loss::nusselt_vertical(row.input("Ra"), row.input("Pr")),
            "Nusselt_check_Incropera_9.2" => loss::nusselt_vertical(row.input("Ra"), row.input("Pr")),
            "Nusselt_Churchill_Chu" => loss::nusselt_vertical(film().0, film().1),
            "h_natural_convection" => h(),
            "h_radiation" => h_radiation(),
            "wall_heat_loss" => {
                let side = std::f64::consts::PI * row.input("D_m") * row.input("H_m");
                (h() + h_radiation()) * side * (row.input("Ts_C") - row.input("Ta_C"))
            }
            "open_kettle_total_loss" => open_kettle_w(row),
            _ => return None,
        })
    });
}

/// The plant's own open kettle, brimful, with its bottom and the surface's radiation, which the reference leaves out.
fn open_kettle_w(row: &Row) -> f64 {
    let (d, h) = (row.input("D_m"), row.input("H_m"));
    let area = std::f64::consts::PI / 4.0 * d * d;
    let mut rig = copperhold::rig::Rig::example();
    rig.boil_kettle.diameter_m = d;
    rig.boil_kettle.capacity_l = area * h * 1e3;
    rig.boil_kettle.emissivity = row.input("emissivity");
    rig.site.air_c = row.input("Ta_C");
    let mut brewery = copperhold::plant::Brewery::new(&rig, 0);
    brewery.preset(copperhold_core::vessel::Vessel::BoilKettle, rig.boil_kettle.capacity_l, row.input("T_C"));
    brewery.standing_loss_w(copperhold_core::vessel::Element::BoilKettle, row.input("T_C"))
}

#[test]
fn energies_boil_off_and_exchangers_agree_with_the_worked_examples() {
    let excluded = [("holding_power", "one multiplication of its inputs: nothing of the plant in it")];
    check("heating_cases.csv", (106, 3), &excluded, |row| {
        let heat = |litres: f64, a: f64, b: f64| litres * 1e-3 * water::density(a) * (water::enthalpy(b) - water::enthalpy(a));
        let ours = || heat(row.input("V_L"), row.input("T1_C"), row.input("T2_C"));
        let kg_per_h = |watts: f64, kpa: f64| watts / water::latent_heat(water::saturation_temperature(kpa * 1e3)) * 3600.0;
        let for_rate = || {
            let kg_per_s = row.input("rate_L20_per_h") * 1e-3 * water::density(20.0) / 3600.0;
            kg_per_s * water::latent_heat(100.0)
        };
        let duty = || {
            let (ua, flow) = (row.input("UA_W_per_K"), row.input("flow_L_per_min"));
            coil::coil_duty(ua, flow, row.input("T_hlt_C"), row.input("T_in_C"))
        };
        let tube = || (row.input("flow_L_per_min"), row.input("d_i_mm") * 1e-3, row.input("T_C"));
        Some(match row.quantity.as_str() {
            "mass" => row.input("V_L") * 1e-3 * water::density(row.input("T1_C")),
            "energy" => ours() / 1e3,
            "time_ideal" => ours() / row.input("P_W") / 60.0,
            "time_ideal_BTU_rule" => {
                heat(row.input("V_gal") * 3.785411784, celsius(row.input("T1_F")), celsius(row.input("T2_F")))
                    / row.input("P_W")
                    / 60.0
            }
            "energy_per_litre_per_C" => water::density(20.0) * 1e-3 * water::specific_heat(20.0) / 3600.0,
            "ramp_rate_ideal" => {
                let t = row.input("T_C");
                60.0 * row.input("P_W") / (row.input("V_L") * 1e-3 * water::density(t) * water::specific_heat(t))
            }
            "time_with_vessel" => {
                let steel = row.input("m_steel_kg") * copperhold::plant::vessel::STEEL_J_PER_KG_K;
                (ours() + steel * (row.input("T2_C") - row.input("T1_C"))) / row.input("P_W") / 60.0
            }
            "boil_off_mass_rate" => {
                let net = row.inputs.get("P_net_W").map(|_| row.input("P_net_W"));
                kg_per_h(net.unwrap_or_else(|| row.input("P_element_W") - row.input("P_loss_W")), row.input("p_kPa"))
            }
            "net_power_for_boil_off" => for_rate(),
            "duty_for_boil_off" => (for_rate() + row.input("P_loss_W")) / row.input("P_element_W") * 100.0,
            "effectiveness_Cr0" => coil::effectiveness_in_tank(row.input("NTU")),
            "effectiveness_counterflow" => coil::effectiveness_counterflow(row.input("NTU"), row.input("Cr")),
            "coil_NTU" => duty().ntu,
            "coil_effectiveness" => duty().effectiveness,
            "coil_outlet_temperature" => duty().outlet_c,
            "coil_heat_rate" => duty().heat_w,
            "tube_Reynolds" => coil::reynolds(tube().0, tube().1, tube().2),
            "tube_inside_h_Gnielinski" => coil::inside_film(tube().0, tube().1, tube().2),
            _ => return lumps::answer(row),
        })
    });
}

/// The closed-form cases, answered by the plant's integrator stepping the same lumps.
mod lumps {
    use copperhold::plant::integrate::midpoint;
    use copperhold_tests::reference::Row;

    const DT_S: f64 = 0.25;

    /// Steps one lump until it crosses `to_c`; seconds, the last step divided in proportion.
    fn crossing_s(from_c: f64, to_c: f64, rate: impl Fn(f64) -> f64) -> f64 {
        let (mut t_s, mut now) = (0.0, [from_c]);
        loop {
            let next = midpoint(&now, DT_S, |y| [rate(y[0])]);
            if next[0] >= to_c {
                return t_s + DT_S * (to_c - now[0]) / (next[0] - now[0]);
            }
            (t_s, now) = (t_s + DT_S, next);
            assert!(t_s < 1e5, "never reaches {to_c}");
        }
    }

    /// Tank and mash after `seconds` of exchange, with `watts` into the tank.
    fn two_tanks(row: &Row, from: [f64; 2], seconds: f64, watts: f64) -> [f64; 2] {
        let (tank, mash, between) = (row.input("C_hlt_J_per_K"), row.input("C_mash_J_per_K"), row.input("epsC_W_per_K"));
        (0..(seconds / DT_S).round() as usize).fold(from, |y, _| {
            midpoint(&y, DT_S, |[t, m]| {
                let moved = between * (t - m);
                [(watts - moved) / tank, moved / mash]
            })
        })
    }

    pub fn answer(row: &Row) -> Option<f64> {
        let start = || [row.input("Th0_C"), row.input("Tm0_C")];
        Some(match row.quantity.as_str() {
            "time_with_loss" => {
                let (c, ua, air, p) = (row.input("C_J_per_K"), row.input("UA_W_per_K"), row.input("Ta_C"), row.input("P_W"));
                crossing_s(row.input("T1_C"), row.input("T2_C"), |t| (p - ua * (t - air)) / c) / 60.0
            }
            "temperature_after_cooling" => {
                let (c, ua, air) = (row.input("C_J_per_K"), row.input("UA_W_per_K"), row.input("Ta_C"));
                let steps = (row.input("t_s") / DT_S).round() as usize;
                (0..steps).fold([row.input("T0_C")], |y, _| midpoint(&y, DT_S, |y| [ua * (air - y[0]) / c]))[0]
            }
            "mash_step_time_HLT_constant" => {
                let rate = |t: f64| row.input("epsC_W_per_K") * (row.input("T_hlt_C") - t) / row.input("C_mash_J_per_K");
                crossing_s(row.input("T1_C"), row.input("T2_C"), rate) / 60.0
            }
            "two_tank_equilibrium" => two_tanks(row, start(), 7200.0, 0.0)[1],
            "two_tank_T_hlt" => two_tanks(row, start(), row.input("t_s"), 0.0)[0],
            "two_tank_T_mash" => two_tanks(row, start(), row.input("t_s"), 0.0)[1],
            "two_tank_time_constant" => {
                let gap = |y: [f64; 2]| y[0] - y[1];
                let after = two_tanks(row, start(), 200.0, 0.0);
                200.0 / (gap(start()) / gap(after)).ln()
            }
            "two_tank_steady_ramp" => {
                let p = row.input("P_W");
                let (a, b) = (two_tanks(row, [50.0, 50.0], 3600.0, p), two_tanks(row, [50.0, 50.0], 3660.0, p));
                b[1] - a[1]
            }
            "two_tank_steady_lag_Th_minus_Tm" => {
                let y = two_tanks(row, [50.0, 50.0], 7200.0, row.input("P_W"));
                y[0] - y[1]
            }
            _ => return None,
        })
    }
}

#[test]
fn mash_and_mixtures_agree_with_the_energy_balances() {
    use copperhold::plant::{hands, network};
    let recipe = "arithmetic of a sheet, not physics of the plant";
    let constant = "assumes one specific heat of water, which the plant does not: the IAPWS row is checked instead";
    let table = "the table behind the plant's one slaking heat, which a test of its own derives";
    let excluded = [
        ("strike_temperature_F", recipe),
        ("strike_temperature_C_0.41", recipe),
        ("infusion_volume", recipe),
        ("infusion_volume_metric", recipe),
        ("decoction_volume", recipe),
        ("first_runnings_volume", recipe),
        ("sparge_volume_for_preboil", recipe),
        ("total_water", recipe),
        ("qt_per_lb_to_L_per_kg", recipe),
        ("ST_abs_us", recipe),
        ("step_energy", recipe),
        ("step_time_ideal", recipe),
        ("strike_temperature_energy_balance", constant),
        ("mash_temperature_after_infusion", constant),
        ("malt_specific_heat_relative", table),
        ("slaking_heat_correction", table),
        ("initial_heat_no_slaking", table),
        ("initial_heat_with_slaking", table),
    ];
    check("strike_and_mash.csv", (11, 46), &excluded, |row| {
        let grain = network::GRAIN_J_PER_KG_K;
        let mix = |kg: f64, solids: f64, joules: f64| water::temperature_of(kg, solids, joules).0;
        let stream = |kg: &str, t: &str| row.input(kg) * water::enthalpy(row.input(t));
        Some(match row.quantity.as_str() {
            "grain_specific_heat_default" | "grain_specific_heat_from_composition" => grain / 1e3,
            "grain_water_retention" if row.inputs.is_empty() => network::GRAIN_HOLDS_L_PER_KG,
            "grain_displacement" => network::GRAIN_DISPLACES_L_PER_KG,
            "mash_volume" => row.input("V_water_L") + row.input("m_grain_kg") * network::GRAIN_DISPLACES_L_PER_KG,
            "mash_heat_capacity" => (row.input("m_grain_kg") * grain + row.input("m_water_kg") * row.input("c_water") * 1e3) / 1e3,
            "mix_two_waters" => {
                mix(row.input("m1_kg") + row.input("m2_kg"), 0.0, stream("m1_kg", "T1_C") + stream("m2_kg", "T2_C"))
            }
            "strike_temperature_energy_balance_IAPWS" => {
                let t = row.input("T_mash_C");
                let warmed = row.input("m_grain_kg") * grain * (t - row.input("T_grain_C"));
                mix(row.input("m_water_kg"), 0.0, row.input("m_water_kg") * water::enthalpy(t) + warmed)
            }
            _ => return None,
        })
    });
    // 4 % moisture, in a mash of 2.68 parts of water and 0.40 of malt's water equivalent.
    let slaking = reference::rows("strike_and_mash.csv").into_iter().find(|row| row.case_id == "ST_slake_4").unwrap();
    slaking.check(hands::SLAKING_J_PER_KG / ((0.40 + 2.68) * 4184.0)).unwrap();
}

#[test]
fn raw_codes_are_those_of_the_front_ends() {
    let code = |kind, t_c| match probe::RawCode::encode(kind, t_c) {
        probe::RawCode::Pt100 { code } | probe::RawCode::Ntc10k { code } => f64::from(code),
        probe::RawCode::Ds18b20 { word } => f64::from(word),
    };
    let rows = |file, quantity: &str| {
        let rows: Vec<Row> = reference::rows(file).into_iter().filter(|row| row.quantity == quantity).collect();
        rows
    };
    let platinum = rows("rtd_pt100_iec60751.csv", "adc_code_15bit");
    let thermistor = rows("ntc_steinhart_hart.csv", "adc12_code_divider");
    let one_wire = rows("ds18b20.csv", "temperature_from_word");
    assert_eq!((platinum.len(), thermistor.len(), one_wire.len()), (34, 6, 10));
    for row in platinum {
        row.check(code(ProbeKind::Pt100, row.input("T_C"))).unwrap();
    }
    for row in thermistor {
        row.check(code(ProbeKind::Ntc10k, row.input("T_C"))).unwrap();
    }
    for row in one_wire {
        let word = u16::from_str_radix(row.inputs["word"].trim_start_matches("0x"), 16).unwrap();
        assert_eq!(code(ProbeKind::Ds18b20, row.num()), f64::from(word), "{}", row.case_id);
        row.check(probe::RawCode::Ds18b20 { word }.celsius()).unwrap();
    }
}
