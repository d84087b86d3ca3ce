//! How long an exposure lasts on a rig, or why the rig cannot do it.
