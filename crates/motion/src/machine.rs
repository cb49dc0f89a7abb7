//! What the planner must know of a machine. Lengths in mm, speeds in mm/s, accelerations in mm/s², as G-code speaks.

/// How the motors move the head.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kinematics {
    /// One motor per axis: a = x, b = y.
    Cartesian,
    /// Two motors share one belt path: a = x + y, b = x − y.
    CoreXy,
    /// Three towers with carriages a, b, c.
    Delta {
        /// Length of the diagonal rods, mm.
        rod: f64,
        /// Distance of each tower from the centre, between the rods' joints, mm.
        radius: f64,
    },
}

/// A value for each of X, Y, Z and E.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PerAxis {
    /// X.
    pub x: f64,
    /// Y.
    pub y: f64,
    /// Z.
    pub z: f64,
    /// The extruder.
    pub e: f64,
}

/// Speeds, accelerations and corner values in force until a file changes them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Maximum speed, mm/s (M203).
    pub max_speed: PerAxis,
    /// Maximum acceleration, mm/s² (M201).
    pub max_acceleration: PerAxis,
    /// Acceleration of moves that extrude, mm/s² (M204 P).
    pub print_acceleration: f64,
    /// Acceleration of moves of the extruder alone, mm/s² (M204 R).
    pub retract_acceleration: f64,
    /// Acceleration of moves that do not extrude, mm/s² (M204 T).
    pub travel_acceleration: f64,
    /// Allowed jump of each axis' speed at a corner, mm/s (M205 X Y Z E).
    pub jerk: PerAxis,
    /// Junction deviation, mm (M205 J).
    pub junction_deviation: f64,
}

impl Default for Limits {
    /// The values that hold in a file until it sets its own, for a machine of which nothing is known.
    fn default() -> Limits {
        Limits {
            max_speed: PerAxis { x: 300.0, y: 300.0, z: 15.0, e: 80.0 },
            max_acceleration: PerAxis { x: 5000.0, y: 5000.0, z: 300.0, e: 5000.0 },
            print_acceleration: 3000.0,
            retract_acceleration: 3000.0,
            travel_acceleration: 4000.0,
            jerk: PerAxis { x: 8.0, y: 8.0, z: 0.4, e: 5.0 },
            junction_deviation: 0.013,
        }
    }
}

/// How the speed through a corner is found.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Corner {
    /// Each axis may jump by its jerk.
    #[default]
    Jerk,
    /// The corner is rounded by an arc that leaves it by at most the junction deviation.
    Deviation,
}

/// How motors, screws, extruder and filament translate into each other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drive {
    /// Belt that passes in one motor turn, mm: belt pitch × pulley teeth.
    pub belt_per_turn: f64,
    /// Lead of the Z screws, mm per turn; `None` where no screw moves Z.
    pub screw_lead: Option<f64>,
    /// Filament that passes in one turn of the extruder's drive gear, mm.
    pub extruder_per_turn: f64,
    /// Filament diameter, mm.
    pub filament_diameter: f64,
}

impl Drive {
    /// Cross-section of the filament, mm².
    pub fn filament_area_mm2(&self) -> f64 {
        std::f64::consts::FRAC_PI_4 * self.filament_diameter * self.filament_diameter
    }
}

/// A machine as the meter sees it.
#[derive(Clone, Debug, PartialEq)]
pub struct Machine {
    /// How the motors move the head.
    pub kinematics: Kinematics,
    /// Limits in force at the start of a file.
    pub limits: Limits,
    /// The corner rule that the machine's firmware uses.
    pub corner: Corner,
    /// Drive ratios.
    pub drive: Drive,
    /// A nozzle target at or above this counts as hot, °C.
    pub hot_nozzle: f64,
}

impl Default for Machine {
    /// A machine of which nothing is known: the limits that hold until a file sets its own, cartesian, a belt of 2 mm
    /// pitch on 20 teeth, a screw of 8 mm lead, 1.75 mm filament.
    fn default() -> Machine {
        Machine {
            kinematics: Kinematics::Cartesian,
            limits: Limits::default(),
            corner: Corner::Jerk,
            drive: Drive {
                belt_per_turn: 40.0,
                screw_lead: Some(8.0),
                extruder_per_turn: 22.0,
                filament_diameter: 1.75,
            },
            hot_nozzle: 180.0,
        }
    }
}
