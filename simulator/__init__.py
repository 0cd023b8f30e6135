"""A pretend rig with physics of its own, served on real wires. Nothing is heated."""
