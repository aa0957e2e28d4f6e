# `just` lists these; each is plain cargo and works without just.

# Everything a change must pass.
check: fmt clippy test

fmt:
    cargo fmt --check

clippy:
    cargo clippy --all-targets --locked

test:
    tests/run

# Speed and memory, as ratios within one run.
bench:
    cargo bench

# The goals of detection: the judge called on the project's simulator, then through the front door on another one's logs,
# beside interval CUSUM and gamma GLR; the table comes last. Held-out logs: `just detection 150 ANOTHER-WORD`.
detection engines="150" seed="first":
    cargo build --release --bin cowlwatch --example goals --example charts
    target/release/examples/goals {{engines}}
    tests/tools/front_door.py target/release/cowlwatch --charts target/release/examples/charts --engines {{engines}} --seed {{seed}}

# The decision limits of the detector, from simulation. Prints the table of src/judge/consumption/calibration.rs.
calibrate:
    cargo run --release --example calibrate

# The demo fleet anew from its seed.
make-demo:
    cargo run --example make-demo -- demo-fleet

# A season of the demo fleet.
demo:
    cargo run -- demo
