//! What water, sun and wind do to a cover: plain functions of numbers with units.
