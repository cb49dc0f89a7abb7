//! `tallow life mtbf`: the mean time between failures, none included.

use life::Level;
use life::mtbf::{Mtbf, Stopped};
use serde_json::json;

use super::{figure, refused, share};
use crate::cli;
use crate::context::Context;
use crate::trouble::Trouble;

pub(crate) fn mtbf(context: &Context, args: &cli::LifeMtbf) -> Result<(), Trouble> {
    let stopped = match args.stopped_at {
        cli::StoppedAt::Time => Stopped::AtTime,
        cli::StoppedAt::Failure => Stopped::AtFailure,
    };
    let level = Level::new(args.level).map_err(refused)?;
    let mtbf = Mtbf::new(args.time, args.failures, stopped).map_err(refused)?;
    let bounds = mtbf.bounds(level);
    if context.json {
        return context.out.json(&json!({ "mtbf": mtbf.mean(), "lower": bounds.lower, "upper": bounds.upper }));
    }
    let percent = share(args.level);
    match (mtbf.mean(), bounds.lower, bounds.upper) {
        (Some(mean), Some(lower), Some(upper)) => context.out.prose(
            "",
            &format!(
                "Mean time between failures {}, between {} and {} with {percent} confidence (two-sided: {} beyond either end).",
                figure(mean),
                figure(lower),
                figure(upper),
                share(0.5 * (1.0 - args.level))
            ),
        )?,
        _ => context.out.prose(
            "",
            &format!(
                "No failure gives no mean. It is longer than {} with {percent} confidence (one-sided).",
                figure(mtbf.lower(level))
            ),
        )?,
    }
    context.out.prose("", "This holds where failures come by chance, as often in an old part as in a new one.")
}
