# What every place says: the bar of state, the Places sheet, refusals of the page itself.
page-places = Places
page-close = Close
page-this-tablet = This tablet
page-language = Language
page-theme = Colours of the page
page-theme-dark = Dark, for a dark theatre
page-theme-bright = Bright, under a lamp
page-state = State of the device
page-place-failed = This place could not be opened. Check that the device is on and near, then try again.

page-live = Live
page-not-live = NOT LIVE
page-back-to-live = back to the picture
page-light-on = Light on { $level }
page-light-ready = Light ready
page-light-off = Light off
page-light-tripped = Light tripped
page-light-no-answer = Light: no answer
page-light-not-known = Light not known
page-light-put-out = touch: light off
page-light-at-live = lit from Live
page-recording = Rec { $time }
page-not-recording = Not recording
page-recording-not-known = Rec not known
page-dye = Dye { $time }
page-no-dye = No dye yet
