//! The engine models. Every number is invented; the power chart is a plain formula.

/// One model.
pub struct Model {
    pub name: &'static str,
    pub rated_hp: f64,
    pub cylinders: usize,
    pub turbocharged: bool,
    /// Manifold pressure at rated power, inHg.
    pub manifold_max: f64,
    pub capacity: f64,
    pub minimum: f64,
}

pub const RATED_RPM: f64 = 2700.0;

const ALL: [Model; 5] = [
    Model {
        name: "Q4-180",
        rated_hp: 180.0,
        cylinders: 4,
        turbocharged: false,
        manifold_max: 29.0,
        capacity: 8.0,
        minimum: 5.0,
    },
    Model {
        name: "Q6-260",
        rated_hp: 260.0,
        cylinders: 6,
        turbocharged: false,
        manifold_max: 29.0,
        capacity: 12.0,
        minimum: 8.0,
    },
    Model {
        name: "Q6-300",
        rated_hp: 300.0,
        cylinders: 6,
        turbocharged: false,
        manifold_max: 29.0,
        capacity: 12.0,
        minimum: 9.0,
    },
    Model {
        name: "Q6T-310",
        rated_hp: 310.0,
        cylinders: 6,
        turbocharged: true,
        manifold_max: 36.0,
        capacity: 12.0,
        minimum: 9.0,
    },
    Model {
        name: "Q6T-325",
        rated_hp: 325.0,
        cylinders: 6,
        turbocharged: true,
        manifold_max: 38.0,
        capacity: 11.0,
        minimum: 8.0,
    },
];

pub fn model(name: &str) -> &'static Model {
    ALL.iter().find(|m| m.name == name).unwrap_or(&ALL[0])
}

impl Model {
    /// Percent of rated power.
    pub fn percent(&self, rpm: f64, manifold: f64, altitude_ft: f64) -> f64 {
        let (idle, height) = if self.turbocharged { (8.0, 0.0) } else { (8.5, 0.3 * altitude_ft / 1000.0) };
        (100.0 * rpm / RATED_RPM * (manifold - idle + height) / (self.manifold_max - idle)).clamp(2.0, 104.0)
    }

    fn chart(&self) -> String {
        let manifolds: &[f64] =
            if self.turbocharged { &[16.0, 22.0, 28.0, 32.0, 36.0] } else { &[14.0, 18.0, 21.0, 24.0, 28.0] };
        let altitudes: &[f64] = if self.turbocharged { &[0.0, 16_000.0] } else { &[0.0, 6_000.0, 12_000.0] };
        let mut text = String::from("power = [\n");
        for altitude in altitudes {
            for rpm in [2200.0, 2450.0, 2700.0] {
                let row = manifolds.iter().map(|manifold| {
                    let percent = self.percent(rpm, *manifold, *altitude);
                    format!(
                        "{{ rpm = {rpm}, manifold_inhg = {manifold:.1}, altitude_ft = {altitude}, percent = {percent:.1} }}"
                    )
                });
                text += &format!("  {},\n", row.collect::<Vec<_>>().join(", "));
            }
        }
        text + "]\n"
    }
}

/// `engines.toml`.
pub fn file() -> String {
    let mut text = String::from(
        "# Invented engine models. No number here is any engine maker's: for your own fleet take them from the\n\
         # engine maker's instructions, then set confirmed = true.\n",
    );
    for m in &ALL {
        text += &format!(
            "\n[[model]]\nname = \"{}\"\nrated_hp = {}\nrated_rpm = {RATED_RPM}\ncylinders = {}\nturbocharged = {}\n\
             oil_capacity_qt = {:.1}\noil_minimum_qt = {:.1}\nmanifold_max_inhg = {:.1}\ncht_max_f = 460\n\
             oil_temp_max_f = 240\nconfirmed = {}\n{}",
            m.name,
            m.rated_hp,
            m.cylinders,
            m.turbocharged,
            m.capacity,
            m.minimum,
            m.manifold_max,
            // One model stays unconfirmed, so that the demo shows how mails say so.
            m.name != "Q6T-325",
            m.chart()
        );
    }
    text
}
