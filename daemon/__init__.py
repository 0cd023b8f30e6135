"""The supervisor: links, frames, outputs, store and messages around the pure rules."""
