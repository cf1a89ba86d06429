//! Statistics for judging a path from a finite observation. Pure; one method a file, each with its source.
