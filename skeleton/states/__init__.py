"""The state graph that a pen path walks over: places with headings, steps between them, their costs."""
