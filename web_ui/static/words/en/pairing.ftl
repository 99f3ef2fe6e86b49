# Pairing, and who controls.
pairing-title = Pair this tablet
pairing-word = Word shown by the device
pairing-pair = Pair
pairing-use-button = Use the handheld's button
pairing-caution = Not a certified medical device. It shows relative intensity, not viability. Decisions stay with licensed practice and local rules.

pairing-tablets = Tablets
pairing-tablets-open = Tablets, and who controls
pairing-ask-control = Ask for control
pairing-type-word = Type the word shown by the device
pairing-invite = Invite a tablet to watch
pairing-invitation-picture = Code to scan with the other tablet's camera
pairing-leave = Unpair this tablet
pairing-revoke-all = Unpair all tablets

pairing-asking = Asking the device …
pairing-wrong-word = That is not the word. Look at the device and try again.
pairing-press-once = Press the button on the handheld once, briefly. { $seconds } s
pairing-not-paired = Not paired: { $why }.

pairing-you-control = You control
pairing-you-watch = You watch
pairing-asks-control = { $who } asks for control.
pairing-give = Give control
pairing-keep = Keep it
pairing-asks-to-pair = { $who } asks to pair. A short press of the handheld's button lets it in.
pairing-refuse = Refuse
pairing-got-control = You control.
pairing-asked = Asked. The tablet that controls has to agree.
pairing-another-asks = Another tablet asks for control; try again in a moment.
pairing-press-for-control = Nobody is at the tablet that controls. Press the button on the handheld, briefly.
pairing-refused = The tablet that controls said no.

pairing-this-tablet = this tablet
pairing-controls = controls
pairing-watches = watches
pairing-by-word = paired by the word { $time } ago
pairing-by-button = paired by the button { $time } ago
pairing-invited = paired by an invitation { $time } ago
pairing-not-there = not there now
pairing-unpair = Unpair
pairing-keep-paired = Keep
pairing-sure-this = Unpair this tablet?
pairing-sure-all = Unpair all tablets, this one too?
pairing-sure-one = Unpair { $who }?
pairing-scan = Scan it with the other tablet's camera within { $minutes ->
    [one] one minute
   *[other] { $minutes } minutes
  }. It works once.
pairing-stands-controls = This tablet, { $you }, controls.
pairing-stands-vacant = This tablet, { $you }, watches. No tablet controls.
pairing-stands-watches = This tablet, { $you }, watches. { $controller } controls.
pairing-stands-alone = This tablet, { $you }, watches. { $controller } controls, but nobody is there.
