//! What leaves the program: plan files, tables, text cleaned on the way out.
