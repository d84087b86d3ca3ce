//! Timeline, heat map, table, text cut by columns: they know cells, not the program.
