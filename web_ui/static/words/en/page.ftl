# What every place says: the bar of state, the Places sheet, refusals of the page itself.
page-places = Places
page-close = Close
page-line-more = More
page-line-less = Less
page-language = Language
page-theme = Page
page-theme-dark = Dark
page-theme-bright = Bright
page-state = State of the device
page-place-failed = This place could not be opened. Check that the device is on and near, then try again.

page-not-live = NOT LIVE
page-to-live = to the live picture
page-no-picture-comes = no picture comes
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

page-watches = This tablet watches.
page-unpaired = This tablet is not paired with the device.
page-unreachable = The device cannot be reached. Check that it is on and near, then try again.
page-no-answer = The device does not answer. Look at the device itself.
page-no-answer-yet = The device has not answered yet; it is still being waited for.
page-away = The device cannot be reached. The page goes on by itself as soon as it can.
page-newer = The device has a newer page than this one.
page-load-newer = Load it
page-camera-silent = The camera does not answer. It is started again by itself; try again in a moment.
page-too-many-tries = Too many tries. Wait a minute, then try again.
page-could-not = The device could not do that ({ $status }). Try again.
page-in-english = In English: { $line }

# In place of a value.
page-uncertain = uncertain
page-saturated = saturated
page-too-dark = too dark
page-unlit = unlit
page-place-not-known = place not known
page-out-of-picture = out of the picture
page-no-picture-yet = no picture yet
page-no-reference = no reference
page-reference-too-dark = reference too dark
page-reference-saturated = reference saturated

# Names of regions: at most 40 letters, digits, spaces, dots or dashes.
page-name-tip = Tip
page-name-middle = Middle
page-name-base = Base
page-name-edge = Edge
page-name-pedicle = Pedicle
page-name-node = Node
page-other-name = Other name: letters, digits, spaces
page-keep-name = Keep name
page-name-rule = A name is 1 to 40 letters, digits, spaces, dots or dashes:
