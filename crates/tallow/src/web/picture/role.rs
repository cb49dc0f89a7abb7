//! What a position is in the drawing, by the kind of what sits there and by its name.

use upkeep::build::{Axis, Position};

/// What a part is in the drawing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Role {
    /// A rod or rail along an axis.
    Guide(Axis),
    /// What runs on it.
    Bushing(Axis),
    /// What a delta's carriages roll on, and the wheels.
    Track,
    Wheels,
    Screw,
    Coupling,
    ScrewBearing,
    Belt,
    Idler,
    Flange,
    Pulley,
    Tensioner,
    Rod,
    Joint,
    Effector,
    Gears,
    Reduction,
    FeedTube,
    TubeCoupling,
    ToolCoupling,
    FilamentSensor,
    Cutter,
    HotEnd,
    Liner,
    Sock,
    HeaterWires,
    Nozzle,
    Wiper,
    Probe,
    PartFan,
    HotEndFan,
    BoardFan,
    ChamberFan,
    Plate,
    BedHeater,
    BedMagnet,
    BedMount,
    BedSprings,
    BedWires,
    Filter,
    ChamberHeater,
    Panel,
    Door,
    Camera,
    Frame,
    Wires,
    Switch,
    Board,
    PowerSupply,
    Inlet,
    Relay,
    Spool,
    Box,
    Extinguisher,
    Alarm,
    EmergencyOff,
    /// Anything else: it stands beside the machine.
    Other,
}

impl Role {
    /// What a position is in the drawing.
    pub(super) fn of(position: &Position) -> Role {
        let kind = position.kind.as_str();
        match kind {
            "profile with polymer wheels" if says(position, "wheel") => Role::Wheels,
            "profile with polymer wheels" => axis(position).map_or(Role::Track, Role::Guide),
            "dry bushing" | "ball bushing" => axis(position).map_or(Role::Other, Role::Bushing),
            "screw coupling" => Role::Coupling,
            "sealed screw bearing" => Role::ScrewBearing,
            "toothed belt" => Role::Belt,
            "sealed idler" => Role::Idler,
            "idler flange" => Role::Flange,
            "toothed pulley" => Role::Pulley,
            "belt tensioner" => Role::Tensioner,
            "diagonal rod with ball joints" | "diagonal rod with magnetic joints" if says(position, "joint") => {
                Role::Joint
            }
            "diagonal rod with ball joints" | "diagonal rod with magnetic joints" => Role::Rod,
            "effector" => Role::Effector,
            "extruder gear" => Role::Gears,
            "extruder reduction gear" => Role::Reduction,
            "feed tube" => Role::FeedTube,
            "tube coupling" => Role::TubeCoupling,
            "kinematic coupling" => Role::ToolCoupling,
            "filament sensor" => Role::FilamentSensor,
            "filament cutter" => Role::Cutter,
            "hot end" => Role::HotEnd,
            "hot end liner" => Role::Liner,
            "silicone sock" => Role::Sock,
            "heater and sensor wires" => Role::HeaterWires,
            "brass nozzle" | "hardened nozzle" => Role::Nozzle,
            "nozzle wiper" => Role::Wiper,
            "probe" => Role::Probe,
            "fan" => fan(position),
            "heated bed, low voltage" | "heated bed, mains" => Role::BedHeater,
            "bed magnet" => Role::BedMagnet,
            "bed mount" => Role::BedMount,
            "bed springs" => Role::BedSprings,
            "bed wires" | "bed wires, mains" => Role::BedWires,
            "particle filter" | "carbon filter" => Role::Filter,
            "chamber heater, mains" => Role::ChamberHeater,
            "polycarbonate panel" | "acrylic panel" | "glass panel" => Role::Panel,
            "door hinge" => Role::Door,
            "camera" => Role::Camera,
            "frame" => Role::Frame,
            "moving wires" => Role::Wires,
            "end switch" => Role::Switch,
            "control board" => Role::Board,
            "power supply" => Role::PowerSupply,
            "mains inlet" => Role::Inlet,
            "solid-state relay, mains" => Role::Relay,
            "spool holder" => Role::Spool,
            "dry box" => Role::Box,
            "fire extinguisher" => Role::Extinguisher,
            "smoke alarm" => Role::Alarm,
            "emergency off" => Role::EmergencyOff,
            _ if kind.ends_with("plate") => Role::Plate,
            _ if kind.contains("screw") => Role::Screw,
            _ if kind.contains("rod in") || kind.contains("rail") => axis(position).map_or(Role::Other, Role::Guide),
            _ => Role::Other,
        }
    }

    /// Whether every machine has such parts, so that they are drawn even where no position of its build names them.
    pub(super) fn is_of_every_machine(self) -> bool {
        use Role::{
            Belt, Effector, Frame, Gears, Guide, HotEnd, Idler, Joint, Nozzle, Plate, Pulley, Rod, Screw, Track, Wheels,
        };
        matches!(
            self,
            Guide(_)
                | Track
                | Wheels
                | Screw
                | Belt
                | Idler
                | Pulley
                | Rod
                | Joint
                | Effector
                | Frame
                | Plate
                | Gears
                | HotEnd
                | Nozzle
        )
    }

    /// As [`Role::of`] on a machine whose guides are no towers: what its carriages roll on is what stands upright.
    pub(super) fn without_towers(self) -> Role {
        match self {
            Role::Track => Role::Guide(Axis::Z),
            Role::Wheels => Role::Bushing(Axis::Z),
            role => role,
        }
    }
}

fn says(position: &Position, word: &str) -> bool {
    position.name.to_lowercase().contains(word)
}

/// The axis of a guide: as its build says, else the first that its name says.
fn axis(position: &Position) -> Option<Axis> {
    let by_name = || {
        position.name.split_whitespace().find_map(|word| match word.to_lowercase().as_str() {
            "x" | "head" => Some(Axis::X),
            "y" | "bed" => Some(Axis::Y),
            "z" => Some(Axis::Z),
            _ => None,
        })
    };
    position.along.or_else(by_name)
}

fn fan(position: &Position) -> Role {
    let first = [
        (&["hot end", "hotend"][..], Role::HotEndFan),
        (&["part", "tool", "effector", "head"], Role::PartFan),
        (&["board", "controller", "power"], Role::BoardFan),
        (&["chamber", "filter"], Role::ChamberFan),
    ];
    let found = first.into_iter().find(|(words, _)| words.iter().any(|word| says(position, word)));
    found.map_or(Role::Other, |(_, role)| role)
}
