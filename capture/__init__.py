"""From paper to ink: the sheet, its scan, the straightened page, the cells and their ink."""
