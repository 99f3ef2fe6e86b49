# La sección «En vivo».
live-place = En vivo
live-about = La imagen de ahora, con luz, colorante y grabación
