//! The composition root: the only file that knows every edge.

mod demo;
