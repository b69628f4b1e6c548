"""Many variants at once: the plan, the processes, the folder, the data set, the page."""
