//! How dense the air is that a ball flies through.

use super::Bounds;

/// Gas constants of dry air and of water vapour, J/(kg·K): R = 8.314462618 J/(mol·K) over 28.9644 g/mol (ISO 2533:1975) and
/// 18.01528 g/mol.
const DRY_AIR: f64 = 287.058;
const VAPOUR: f64 = 461.523;
/// The standard atmosphere at sea level (ISO 2533:1975): pressure, Pa; temperature, K; its fall with height, K/m.
const SEA_LEVEL_PA: f64 = 101_325.0;
const SEA_LEVEL_K: f64 = 288.15;
const LAPSE_KPM: f64 = 0.0065;
/// g·M/(R·L) of the standard atmosphere.
const EXPONENT: f64 = 5.255_88;
const ZERO_CELSIUS_K: f64 = 273.15;

/// How far the weather's pressure goes from the standard one on most days, as a share: 20 hPa (common practice, no source).
const WEATHER: f64 = 0.02;
/// What is taken where nothing is said of the temperature, °C.
pub const USUAL_TEMPERATURE_C: Bounds = Bounds::new(10.0, 30.0);
/// What is taken where nothing is said of the place, m above the sea.
pub const USUAL_ELEVATION_M: f64 = 0.0;

/// Pressure of the standard atmosphere at an elevation, Pa (ISO 2533:1975, up to 11 km).
pub fn standard_pressure_pa(elevation_m: f64) -> f64 {
    SEA_LEVEL_PA * (1.0 - LAPSE_KPM * elevation_m / SEA_LEVEL_K).powf(EXPONENT)
}

/// Pressure of water vapour above water in balance with it, Pa: the Magnus formula (WMO No. 8, *Guide to Instruments and
/// Methods of Observation*, annex 4.B), −45 to 60 °C.
pub fn saturation_pa(temperature_c: f64) -> f64 {
    611.2 * (17.62 * temperature_c / (243.12 + temperature_c)).exp()
}

/// Density of moist air, kg/m³: dry air and vapour as ideal gases, each with its part of the pressure. `humidity` is relative,
/// 0 to 1. Against CIPM-2007 it errs by less than a thousandth at what the weather brings (compressibility is left out).
pub fn density_kgpm3(temperature_c: f64, pressure_pa: f64, humidity: f64) -> f64 {
    let temperature_k = temperature_c + ZERO_CELSIUS_K;
    let vapour_pa = humidity * saturation_pa(temperature_c);
    (pressure_pa - vapour_pa) / (DRY_AIR * temperature_k) + vapour_pa / (VAPOUR * temperature_k)
}

/// Densities over a range of temperatures at an elevation, whatever the weather's pressure and humidity, kg/m³. `None`: outside
/// of −45 to 60 °C or −500 to 11,000 m.
pub fn densities_kgpm3(temperature_c: Bounds, elevation_m: f64) -> Option<Bounds> {
    let is_in_range = temperature_c.is_sound()
        && temperature_c.low >= -45.0
        && temperature_c.high <= 60.0
        && (-500.0..=11_000.0).contains(&elevation_m);
    let pressure_pa = standard_pressure_pa(elevation_m);
    is_in_range.then(|| Bounds {
        low: density_kgpm3(temperature_c.high, pressure_pa * (1.0 - WEATHER), 1.0),
        high: density_kgpm3(temperature_c.low, pressure_pa * (1.0 + WEATHER), 0.0),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Temperature, pressure and density of the standard atmosphere (ISO 2533:1975; ICAO Doc 7488), from memory, to the digits given.
    #[test]
    fn iso_2533_the_standard_atmosphere() {
        let table = [(0.0, 15.0, 101_325.0, 1.225), (1000.0, 8.5, 89_874.6, 1.1117), (2000.0, 2.0, 79_495.2, 1.0065)];
        for (elevation_m, temperature_c, expected_pa, expected) in table {
            let pressure_pa = standard_pressure_pa(elevation_m);
            // The table goes by geopotential height; the formula's exponent has six digits: parts in 10⁵.
            assert!((pressure_pa / expected_pa - 1.0).abs() < 3e-5, "{elevation_m}: {pressure_pa}");
            let density = density_kgpm3(temperature_c, pressure_pa, 0.0);
            assert!((density - expected).abs() < 1e-4, "{elevation_m}: {density}");
        }
    }

    /// "Density of moist air" for a dew point of 10 °C and 760 mm Hg, g/l, to three decimals (*CRC Handbook of Chemistry and
    /// Physics*, as reprinted). The table's own constants leave another digit of the last place.
    #[test]
    fn crc_table_of_moist_air_with_a_dew_point_of_10_degrees() {
        for (temperature_c, expected) in [(10.0, 1.241), (20.0, 1.199), (40.0, 1.122), (60.0, 1.055)] {
            let humidity = saturation_pa(10.0) / saturation_pa(temperature_c);
            let density = density_kgpm3(temperature_c, SEA_LEVEL_PA, humidity);
            assert!((density - expected).abs() <= 0.0015, "{temperature_c}: {density}");
        }
    }

    /// Saturation pressure over water, Pa (steam tables, from memory): at the triple point, 20 and 30 °C. Magnus leaves out what
    /// air adds to it, a part in two hundred; on the density that makes less than 4e-5.
    #[test]
    fn saturation_is_that_of_the_steam_tables() {
        for (temperature_c, expected_pa) in [(0.01, 611.7), (20.0, 2339.0), (30.0, 4247.0)] {
            assert!((saturation_pa(temperature_c) / expected_pa - 1.0).abs() < 5e-3, "{temperature_c}");
        }
    }

    /// About 1.0 kg/m³ at 1609 m on a warm day (common practice, no source), a fifth less than at the sea.
    #[test]
    fn a_mile_above_the_sea_air_is_a_fifth_thinner() {
        let mile = densities_kgpm3(Bounds::exactly(20.0), 1609.0).unwrap();
        assert!(mile.contains(1.0), "{mile:?}");
        let sea = densities_kgpm3(Bounds::exactly(20.0), 0.0).unwrap();
        assert!((mile.middle() / sea.middle() - 0.82).abs() < 0.01);
        assert!(sea.contains(density_kgpm3(20.0, SEA_LEVEL_PA, 0.5)));
    }

    #[test]
    fn what_is_outside_of_the_weather_has_no_density() {
        for wrong in [f64::NAN, f64::INFINITY, -300.0, 100.0] {
            assert_eq!(densities_kgpm3(Bounds::exactly(wrong), 0.0), None);
        }
        for wrong in [f64::NAN, f64::INFINITY, -1e4, 5e4] {
            assert_eq!(densities_kgpm3(Bounds::exactly(20.0), wrong), None);
        }
        assert_eq!(densities_kgpm3(Bounds::new(30.0, 10.0), 0.0), None);
    }
}
