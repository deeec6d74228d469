"""An invented site with invented trains, to try out whatever works on recordings."""
