//! Named modes, moduli, loss, and a comparison of two stages, without the command line.
//!
//!     cargo run --example two_stages

use std::error::Error;
use std::path::Path;

use ringwright::analysis::{Options, StageTake, stage_of};
use ringwright::bench::Bench;
use ringwright::compare::{Stage, compare};
use ringwright::part::station_of;

fn main() -> Result<(), Box<dyn Error>> {
    let shop = Path::new(env!("CARGO_MANIFEST_DIR"));
    let bench = Bench::from_toml(&std::fs::read_to_string(shop.join("bench.toml"))?)?;
    let options = |part: &str, stage: &str| Options { part: bench.stage(part, stage).cloned(), ..Options::default() };

    let blank = shop.join("recordings/left-blank/flat/corner/take-01.wav");
    let take = ringwright::measure(&blank, &options("left-blank", "flat"))?;
    for named in take.modes.iter().filter(|m| m.name.is_some()) {
        let (frequency, loss) = (&named.mode.frequency, named.mode.loss_factor());
        let [low, high] = frequency.interval_95();
        println!(
            "{}: {low:.2} to {high:.2} Hz, loss {:.4} ± {:.4}",
            named.name.as_deref().unwrap_or(""),
            loss.value,
            loss.half_95()
        );
    }
    for quantity in take.part.iter().flat_map(|p| &p.quantities) {
        let (unit, factor) = quantity.kind.shown();
        let (value, half) = (factor * quantity.figure.value, factor * quantity.figure.half_95());
        let most = quantity.figure.largest_source().map(|(source, share)| format!("{source} {:.0} %", 100.0 * share));
        println!("{}: {value:.4} ± {half:.4} {unit} ({})", quantity.kind.name(), most.unwrap_or_default());
    }

    let stage = |name: &str| -> Result<Stage, Box<dyn Error>> {
        let path = shop.join(format!("recordings/left-side/{name}/lower-bout/take-01.wav"));
        let options = options("left-side", name);
        let take = StageTake::new(&ringwright::measure(&path, &options)?, station_of(&path));
        Ok(stage_of(name, &[take], options.part.as_ref()))
    };
    let comparison = compare(&stage("bent")?, &stage("laminated")?, &[]);
    println!("{}", comparison.answer());
    Ok(())
}
