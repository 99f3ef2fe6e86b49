# The live place.
live-place = Live
live-about = The picture now, with light, dye and recording
