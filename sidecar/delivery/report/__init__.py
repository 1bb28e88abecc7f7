"""Reports and plots of what was found: HTML, SVG, CSV and the description of the JSON."""
