"""The workroom: the whole job in the browser, from a new hand to the plotter's files, on the commands' own folders."""
