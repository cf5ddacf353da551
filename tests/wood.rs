//! The wood of instruments, and the surface that glue and finish go on: what the air makes of a plate, when it is back,
//! when a crack may be glued, and what is said of a cold or damp surface.

mod cracks;
mod http;
mod plates;
mod shop;
mod surface;
