//! The arithmetic of the brew day against every row of the reference tables it can answer. Sources and tolerances are in the tables.

use copperhold::brewing::mash::{self, Strike, WaterHeat};
use copperhold::brewing::{alcohol, electric, extract, grain, gravity, volumes};
use copperhold_tests::reference::{Row, check};

#[test]
fn wort_has_the_gravities_extracts_and_alcohols_of_the_published_tables() {
    check("wort_gravity.csv", (196, 0), &[], |row| {
        if row.inputs.contains_key("FG") {
            return Some(beer(row));
        }
        let of = |key| row.input(key);
        Some(match row.quantity.as_str() {
            "SG_from_plato" => gravity::sg(of("plato")),
            "plato_from_SG" => gravity::plato(of("SG")),
            "SG_from_brix_NBS_table_point" => gravity::sg_of_brix(of("brix")),
            "density_sucrose_solution_20C" => gravity::density_20c(gravity::sg_of_brix(of("mass_percent"))),
            "wort_density_20C" => gravity::density_20c(gravity::sg(of("plato"))),
            "wort_specific_heat" => gravity::specific_heat(of("plato"), of("T_C")) / 1e3,
            "hydrometer_correction_to_20C" => gravity::hydrometer(of("SG_read"), of("T_C"), of("T_cal_C")),
            "gravity_points_1lb_sucrose_made_up_to_1_US_gal" => {
                grain::points_of(of("mass_lb") * 0.453_592_37, of("volume_gal") * 3.785_411_784)
            }
            "gravity_points_sucrose_trade" => grain::ppg(1.0),
            "gravity_points_base_malt" => grain::ppg(of("extract_pct") / 100.0),
            "conversion_ppg_to_L_deg_per_kg" => grain::POINTS_L_PER_KG_PER_PPG,
            "L_deg_per_kg_of_46.2_ppg" => of("ppg") * grain::POINTS_L_PER_KG_PER_PPG,
            "points_L_per_kg_extract" => grain::points_l_per_kg(of("SG")),
            "ethanol_relative_density_20_20" => alcohol::ETHANOL,
            "extract_mass" => extract::extract_kg(of("V_L_20C"), of("SG")),
            "extract_mass_from_dry_basis" => {
                grain::potential_kg(of("grain_kg"), of("moisture"), of("extract_dry_basis")) * of("efficiency")
            }
            "brewhouse_efficiency_extract_basis" => {
                100.0 * extract::efficiency(of("V_L_20C"), of("SG"), of("grain_kg") * of("extract_fraction_as_is"))
            }
            "brewhouse_efficiency_points_basis" => {
                let points = of("extract_fraction_as_is") * of("L_deg_per_kg");
                100.0 * extract::efficiency_by_points(of("V_L_20C"), of("SG"), of("grain_kg"), points)
            }
            "mash_efficiency_points_basis" => {
                100.0 * extract::efficiency_by_points(of("V_gal"), of("SG"), of("grain_lb"), of("ppg"))
            }
            "predicted_OG" if row.inputs.contains_key("ppg") => {
                extract::gravity_by_points(of("grain_lb"), of("ppg"), of("efficiency_pct") / 100.0, of("V_gal"))
            }
            "predicted_OG" => {
                extract::gravity_by_points(of("grain_kg"), of("L_deg_per_kg"), of("efficiency_pct") / 100.0, of("V_L"))
            }
            "predicted_OG_exact" => extract::gravity(of("extract_kg"), of("V_L_20C")),
            "post_boil_SG_points" => extract::concentrated_by_points(of("V1_L"), of("SG1"), of("V2_L")),
            "post_boil_SG_extract_conserved" => extract::concentrated(of("V1_L_20C"), of("SG1"), of("V2_L_20C")),
            _ => return None,
        })
    });
}

fn beer(row: &Row) -> f64 {
    let (original, last) = (row.input("OG"), row.input("FG"));
    match row.quantity.as_str() {
        "real_extract" => alcohol::real_extract(original, last),
        "alcohol_by_mass_balling" => alcohol::balling_by_mass(original, last),
        "ABV_balling" => alcohol::balling(original, last),
        "ABV_HMRC_factor" => alcohol::excise(original, last).expect("within the table"),
        "ABV_linear_131.25" => alcohol::linear(original, last),
        "ABV_76.08_formula" => alcohol::hall(original, last),
        "apparent_attenuation" => alcohol::apparent_attenuation(original, last),
        "real_degree_of_fermentation" => alcohol::real_fermentation(original, last),
        other => panic!("{}: {other} is not reckoned", row.case_id),
    }
}

#[test]
fn strike_infusion_and_volumes_are_those_of_the_balances_and_the_textbooks() {
    let plain = "element power over energy, nothing to reckon here: the plant's heat-ups are checked elsewhere";
    check("strike_and_mash.csv", (56, 1), &[("step_time_ideal", plain)], |row| {
        let of = |key| row.input(key);
        let celsius = |key| (row.input(key) - 32.0) / 1.8;
        let strike = || Strike {
            grain_kg: of("m_grain_kg"),
            water_kg: of("m_water_kg"),
            grain_j_per_kg_k: of("c_grain") * 1e3,
            ..Strike::dry()
        };
        Some(match row.quantity.as_str() {
            "strike_temperature_F" => {
                let (ratio, from, to) = (of("r_qt_per_lb"), celsius("T1_F"), celsius("T2_F"));
                mash::palmer_strike(mash::PALMER_QT_PER_LB, ratio, from, to) * 1.8 + 32.0
            }
            "strike_temperature_C_0.41" => mash::palmer_strike(mash::PALMER_L_PER_KG, of("r_L_per_kg"), of("T1_C"), of("T2_C")),
            "infusion_volume" => {
                let (from, to, add) = (celsius("T1_F"), celsius("T2_F"), celsius("Tw_F"));
                mash::palmer_infusion(mash::PALMER_QT_PER_LB, of("G_lb"), of("Wm_qt"), (from, to), add)
            }
            "infusion_volume_metric" => {
                mash::palmer_infusion(mash::PALMER_L_PER_KG, of("G_kg"), of("Wm_L"), (of("T1_C"), of("T2_C")), of("Tw_C"))
            }
            "malt_specific_heat_relative" => grain::specific_heat(of("moisture_pct") / 100.0) / 4184.0,
            "slaking_heat_correction" => grain::slaking_rise_k(of("moisture_pct") / 100.0),
            "initial_heat_no_slaking" => mash::initial_heat(of("S"), of("Tg_C"), of("M_hL_per_100kg"), of("T_C"), 0.0),
            "initial_heat_with_slaking" => mash::initial_heat(of("S"), of("Tg_C"), of("M_hL_per_100kg"), of("T_C"), of("Sc_C")),
            "grain_specific_heat_default" | "grain_specific_heat_from_composition" => grain::specific_heat(grain::MOISTURE) / 1e3,
            "strike_temperature_energy_balance" => {
                let tun = Strike { tun_j_per_k: of("C_tun_kJ_per_K") * 1e3, tun_c: of("T_tun_C"), ..strike() };
                Strike { grain_c: of("T_grain_C"), ..tun }.water_c(of("T_mash_C"), WaterHeat::Constant)
            }
            "strike_temperature_energy_balance_IAPWS" => {
                Strike { grain_c: of("T_grain_C"), ..strike() }.water_c(of("T_mash_C"), WaterHeat::Iapws)
            }
            "mix_two_waters" => mash::mixed_c((of("m1_kg"), of("T1_C")), (of("m2_kg"), of("T2_C"))),
            "mash_temperature_after_infusion" => strike().infused_c(of("T_mash_C"), of("m_add_kg"), of("T_add_C")),
            "decoction_volume" => mash::decoction_l(of("V_mash_L"), of("T_start_C"), of("T_target_C"), of("T_boil_C")),
            "step_energy" => strike().step_j(of("T1_C"), of("T2_C")) / 1e3,
            "mash_heat_capacity" => strike().mash_j_per_k() / 1e3,
            "grain_water_retention" if row.inputs.is_empty() => volumes::Process::empty().grain_holds_l_per_kg,
            "grain_water_retention" | "qt_per_lb_to_L_per_kg" => of("qt_per_lb") * mash::L_PER_KG_PER_QT_PER_LB,
            "grain_displacement" => volumes::Process::empty().grain_displaces_l_per_kg,
            "mash_volume" => {
                let process = process(of("m_grain_kg"), of("V_water_L"));
                volumes::Process { grain_displaces_l_per_kg: of("disp_L_per_kg"), ..process }.mash_l()
            }
            "first_runnings_volume" => {
                let process = process(of("m_grain_kg"), of("V_water_L"));
                volumes::Process { grain_holds_l_per_kg: of("ret_L_per_kg"), ..process }.first_runnings_l()
            }
            "sparge_volume_for_preboil" => {
                let process = volumes::Process { tun_dead_l: of("dead_L"), ..process(0.0, of("first_runnings_L")) };
                process.sparge_for(of("preboil_L"))
            }
            "total_water" => {
                let (boil, kept) = (of("boiloff_L_per_h") * of("boil_h"), of("m_grain_kg") * of("ret_L_per_kg"));
                volumes::total_water_l(of("batch_L"), of("trub_L"), of("shrink"), boil, kept)
            }
            _ => return None,
        })
    });
}

fn process(grain_kg: f64, strike_l: f64) -> volumes::Process {
    volumes::Process { grain_kg, strike_l, ..volumes::Process::empty() }
}

#[test]
fn elements_draw_what_ohm_says_and_the_cautions_are_the_quoted_arithmetic() {
    let burst = "burst firing: the controller's own, not the brewer's arithmetic";
    let flicker = "flicker of the supply: not told to the brewer";
    let text = "wiring lore: this program gives none";
    let excluded = [
        ("half_cycle", burst),
        ("duty_resolution_half_cycle", burst),
        ("mean_power_integer_cycles", burst),
        ("rms_current_fraction", burst),
        ("sigma_delta_pattern", burst),
        ("Pst1_relative_voltage_change", flicker),
        ("Pst_analytical", flicker),
        ("limit", flicker),
        ("voltage_change_reference_impedance", flicker),
        ("max_supply_resistance_for_Pst1", flicker),
        ("typical_conductor", text),
        ("ground_fault_trip_class_A", text),
    ];
    check("electrical.csv", (69, 52), &excluded, |row| {
        let of = |key| row.input(key);
        Some(match row.quantity.as_str() {
            "element_resistance" => electric::resistance(of("P_rated_W"), of("V_rated_V")),
            "element_power" => electric::power(of("P_rated_W"), of("V_rated_V"), of("V_V")),
            "element_current" => electric::current(of("P_rated_W"), of("V_rated_V"), of("V_V")),
            "continuous_load_125_percent" => electric::continuous_a(of("I_A")),
            "next_standard_rating_for_125_percent" => electric::next_standard_a(electric::continuous_a(of("I_A")))?,
            "ceiling_150_percent_next_size" => electric::appliance_ceiling_a(of("I_A"))?,
            // The table's circuit: 30 A at 240 V.
            "load_fraction_of_30A" => 100.0 * electric::share_of_circuit(of("P_W"), 240.0, 30.0),
            "two_elements_at_once" => electric::current(of("P1_W"), 240.0, 240.0) + electric::current(of("P2_W"), 240.0, 240.0),
            "ssr_heat" => electric::relay_heat_w(of("I_A"), of("drop_V")),
            _ => return None,
        })
    });
}

#[test]
fn a_load_beyond_the_list_of_ratings_has_no_rating() {
    assert_eq!(electric::next_standard_a(110.0), Some(110.0));
    assert_eq!(electric::next_standard_a(110.1), None);
    assert_eq!(electric::appliance_ceiling_a(80.0), None);
}

#[test]
fn energy_costs_its_price() {
    // 9.4 kWh at 0.32.
    assert!((electric::cost(9.4, 0.32) - 3.008).abs() < 1e-12);
}
