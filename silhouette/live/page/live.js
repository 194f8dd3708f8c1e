// To be written: camera in, frames out, shape drawn.
