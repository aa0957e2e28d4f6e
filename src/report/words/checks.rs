//! First checks, cheapest first, and what a finding may mean.
//!
//! All of it is common practice, no source; the engine maker's instructions come first. The checks
//! are looks and questions, never a diagnosis.

use crate::judge::Kind;

/// First checks for a kind of finding, cheapest first.
pub fn first_checks(kind: Kind) -> &'static [&'static str] {
    match kind {
        Kind::OilRateRise | Kind::OilRateCeiling | Kind::OilEndurance => RISE,
        Kind::OilRateFall => FALL,
        Kind::OilRateCreep => CREEP,
        Kind::EnginesDiverged => DIVERGED,
        Kind::OilGradeChanged => GRADE,
        Kind::AdditionNotLogged => ADDITION,
        Kind::RefillNotLogged => REFILL,
        Kind::OilChangeDue => CHANGE_DUE,
        Kind::OilChangeOverdue => CHANGE_OVERDUE,
        Kind::FilterNotInspected => FILTER,
        Kind::MetalFound => METAL,
        Kind::OilWrong => WRONG,
        Kind::GroundRunLong | Kind::FirstRunLong => GROUND,
        Kind::TakeoffRpm => TAKEOFF,
        Kind::ManifoldHigh => MANIFOLD,
        Kind::ChtHigh => CHT,
        Kind::OilTempHigh => OIL_TEMP,
        Kind::OilPressureFalling => PRESSURE,
        Kind::CoolingFast | Kind::PowerStepLarge => DESCENT,
        Kind::BreakInPower | Kind::BreakInProfile => POWER,
        Kind::BreakInStabilised => STABILISED,
        Kind::DataSilent | Kind::AircraftMissing => SILENT,
        Kind::HoursDisagree => HOURS,
        Kind::FileRejected => REJECTED,
        Kind::RecordsConflict => CONFLICT,
    }
}

/// What the pattern may mean, told as possibilities and after the facts; nothing where the fact is plain.
pub fn may_mean(kind: Kind) -> Option<&'static str> {
    Some(match kind {
        Kind::OilRateRise => {
            "Possible, none of it shown by these records: a logging error, a leak, a level kept too high, a ring, \
             cylinder or guide, a restricted breather, a turbocharger seal, another way of flying."
        }
        Kind::OilRateFall => {
            "A fall is not good news by itself. Possible: additions nobody logged, another way of reading the \
             dipstick, fuel or water in the oil, cooler or longer flights."
        }
        Kind::OilRateCreep => "Possible: rings, cylinders or guides wearing. A slow change is planned for, not chased.",
        Kind::EnginesDiverged => {
            "Both engines fly the same flights, so weather and kind of service are unlikely to be the cause. \
             The engine named is the likelier one, not a certain one."
        }
        Kind::OilGradeChanged => {
            "After a change from single grade to multigrade, less consumption may point to oil passing the rings, more \
             to guides or leaks. It needs looking at the engine to know."
        }
        Kind::OilPressureFalling => {
            "Possible: the gauge or its line, oil temperature, the relief valve, thinned oil, bearing wear."
        }
        Kind::CoolingFast => "Whether fast cooling does harm is disputed; this is for information only.",
        Kind::BreakInStabilised => {
            "This is what the consumption record shows. Whether break-in is over is for an authorised person to \
             decide, with the filter and the cylinders in view."
        }
        _ => return None,
    })
}

const RISE: &[&str] = &[
    "Read the log lines used: an addition logged twice, for the other engine, or in another unit?",
    "Look at belly, cowling, gear doors and breather outlet; wipe, run, look again.",
    "Drain plug or quick drain, filter base gasket, rocker covers, pushrod tubes, propeller-shaft seal, oil cooler \
     and hoses; on a turbocharged engine its oil feed, return and check valves.",
    "Dipstick and filler cap seal.",
    "Is the level being kept higher than before?",
    "Spark plugs: is one cylinder oily?",
    "Differential compression, listening at breather, exhaust and intake.",
    "Borescope.",
    "Breather pressure (blow-by).",
    "Cut the filter now rather than at the next change.",
];
const FALL: &[&str] = &[
    "Ask who added oil without logging it.",
    "Smell the oil; look under the filler cap; a drop on paper or a hot plate for fuel or water.",
    "Was the level read cold where it used to be read hot, or nose-up?",
    "Oil temperature and length of recent flights: did the oil get hot?",
    "Primer, injectors, fuel pump diaphragm.",
];
const CREEP: &[&str] = &[
    "Compare with last inspection: compressions, plugs, borescope pictures.",
    "Look for small leaks that have become normal.",
    "Plan cylinder work with the next inspection rather than between flights.",
];
const DIVERGED: &[&str] = &[
    "Are left and right mixed up in the log?",
    "Look at the engine named first, then at its mate: belly, cowling, breather outlet.",
    "Then as for a rise in consumption: drain plug, gaskets, covers, hoses, plugs, compression.",
];
const GRADE: &[&str] =
    &["Confirm the oil named in the log is the oil poured.", "Keep the same oil for some quarts before comparing."];
const ADDITION: &[&str] = &[
    "Ask the crews of these flights; look in the locker and the stores list.",
    "If oil was added, enter it with its date: a corrected log corrects the rate.",
    "If not: a reading taken hot, cold or nose-up, or fuel in the oil (smell it before the next flight).",
];
const REFILL: &[&str] = &[
    "If the oil was changed, enter `oil-changed` with its date and level.",
    "If not, treat it as an addition nobody logged.",
];
const CHANGE_DUE: &[&str] = &[
    "Book the change; have the filter, gasket and the right oil in stores.",
    "Plan to cut the filter and look at the screens the same day, and to enter the result.",
];
const CHANGE_OVERDUE: &[&str] = &[
    "Was the change made and not entered? Then enter `oil-changed` with its date and hours.",
    "Else change the oil, cut the filter and clean the screens; a late change does not move the next point.",
    "In break-in: tell whoever holds the overhaul's warranty if the plan asks for it.",
];
const FILTER: &[&str] = &[
    "Was the filter cut or the screen cleaned? Then enter `filter-inspected` or `screen-cleaned` with its result.",
    "If the filter is still at hand, cut it now.",
];
const METAL: &[&str] = &[
    "Keep the filter and what was found; photograph it; magnet and size tell much.",
    "Look at the other screens and the sump drain for more.",
    "Follow the engine maker's instructions for metal found; an authorised person decides on the next flight.",
    "Compare with consumption, oil pressure and oil temperature below.",
];
const WRONG: &[&str] = &[
    "Read the entry again: right engine, right word?",
    "If the oil was poured, ask the overhaul shop or the engine maker's instructions what follows.",
    "Mark the oil to be used at the filler and on the aircraft's oil locker.",
];
const GROUND: &[&str] = &[
    "Ask what the running was for; could a ground power unit have done?",
    "Cowling on, baffles and seals in place?",
    "Look at the cylinder head temperatures of the recording.",
    "Into the wind, at about 1300 rpm, if it has to wait.",
];
const TAKEOFF: &[&str] = &[
    "Compare the recorder's rpm with the tachometer (optical check).",
    "Propeller low-pitch stop and governor setting.",
    "Static run-up against the engine maker's figures.",
];
const MANIFOLD: &[&str] = &[
    "Compare the recorder with the gauge, and both with field pressure, engine stopped.",
    "Wastegate or pressure controller setting; oil hot before full power?",
    "Ask the crew about the take-off.",
];
const CHT: &[&str] = &[
    "Is it one probe (its neighbours disagree) or one cylinder (exhaust gas temperature agrees)?",
    "Baffles, seals, cowl flaps.",
    "Climb speed and mixture of that flight.",
    "Ignition timing, injector of that cylinder.",
];
const OIL_TEMP: &[&str] = &[
    "Level before the flight; outside air temperature; climb speed.",
    "Oil cooler: blocked outside, its valve, its door.",
    "Compare the probe with another instrument.",
    "Together with falling pressure: do not fly until inspected.",
];
const PRESSURE: &[&str] = &[
    "Compare the recorder with the gauge.",
    "Level, kind and age of the oil; smell for fuel.",
    "Relief valve: seat and spring.",
    "Cut the filter. Together with metal or rising consumption: do not fly until inspected.",
];
const DESCENT: &[&str] = &[
    "Use it for coaching: power back 2 to 4 inHg at a time, a minute or two between, about 500 ft/min.",
    "Check that the manifold pressure line does not leak (a sudden step without a change of rpm or fuel flow).",
];
const POWER: &[&str] = &[
    "Plan break-in flights low enough for the power band (full throttle falls with height).",
    "Agree power, height and legs with the chief pilot before the next flight.",
    "Is percent power from the chart, or from fuel flow? The letter says which.",
];
const STABILISED: &[&str] = &[
    "Look at the last filter and screens.",
    "Look at cylinder head temperatures over the build.",
    "Decide, and enter it in the engine's records; the oil for service may follow.",
];
const SILENT: &[&str] = &[
    "Did the aircraft fly? If it is laid up, mute this with an end.",
    "Is its folder filled (share, sync, memory card)?",
    "Has the file's name or layout changed? `cowlwatch check` tells.",
];
const HOURS: &[&str] = &[
    "Compare the line with the paper log: swapped digits, a lost decimal, another tail?",
    "Correct the row; nothing else is needed.",
];
const REJECTED: &[&str] = &[
    "Open the file at the line named, mend it, save; it is read again by itself.",
    "`cowlwatch check` lists every such line.",
];
const CONFLICT: &[&str] = &[
    "Compare the places named; one of them is to be corrected.",
    "`cowlwatch check` lists what it was compared with.",
];
