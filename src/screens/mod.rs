//! Plan, Bench, Load, Units and the overlays.
