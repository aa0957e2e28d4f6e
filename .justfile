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

# The goals of detection beside interval CUSUM and gamma GLR, on the same simulated logs.
detection:
    cargo run --release --example goals

# The decision limits of the detector, from simulation. Prints the table of src/judge/consumption/calibration.rs.
calibrate:
    cargo run --release --example calibrate

# The demo fleet anew from its seed.
make-demo:
    cargo run --example make-demo -- demo-fleet

# A season of the demo fleet.
demo:
    cargo run -- demo
