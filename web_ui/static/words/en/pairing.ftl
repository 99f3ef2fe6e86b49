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
