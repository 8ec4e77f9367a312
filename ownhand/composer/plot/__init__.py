"""Pages for the plotter: paths, their order, the machine and the time it takes."""
