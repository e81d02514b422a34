"""What the owner of a guitar describes: parts, values, tapers, networks, the rig, the dirt."""
