# Lo que dice cada lugar: la barra de estado, la hoja de lugares, los avisos de la propia página.
page-places = Lugares
page-close = Cerrar
page-line-more = Más
page-line-less = Menos
page-language = Idioma
page-theme = Página
page-theme-dark = Oscura
page-theme-bright = Clara
page-state = Estado del aparato
page-place-failed = No se pudo abrir este lugar. Compruebe que el aparato está encendido y cerca e inténtelo de nuevo.

page-not-live = NO EN VIVO
page-to-live = a la imagen en vivo
page-no-picture-comes = no llega imagen
page-light-on = Luz al { $level }
page-light-ready = Luz lista
page-light-off = Luz apagada
page-light-tripped = Luz bloqueada
page-light-no-answer = Luz: fallo
page-light-not-known = Luz: sin datos
page-light-put-out = toque: apagar la luz
page-light-at-live = solo en vivo
page-recording = Grab. { $time }
page-not-recording = Sin grabar
page-recording-not-known = Sin datos
page-dye = ICG { $time }
page-no-dye = Aún sin ICG

page-watches = Esta tableta mira.
page-unpaired = Esta tableta no está emparejada con el aparato.
page-unreachable = No se puede contactar con el aparato. Compruebe que está encendido y cerca e inténtelo de nuevo.
page-no-answer = El aparato no responde. Mire el propio aparato.
page-no-answer-yet = El aparato aún no ha respondido; se sigue esperando.
page-away = No se puede contactar con el aparato. La página sigue por sí sola en cuanto pueda.
page-newer = El aparato tiene una página más nueva que esta.
page-load-newer = Cargarla
page-camera-silent = La cámara no responde. Se reinicia sola; inténtelo de nuevo dentro de un momento.
page-too-many-tries = Demasiados intentos. Espere un minuto e inténtelo de nuevo.
page-could-not = El aparato no pudo hacerlo ({ $status }). Inténtelo de nuevo.
page-in-english = En inglés: { $line }

# En lugar de un valor.
page-uncertain = incierto
page-saturated = saturado
page-too-dark = muy oscuro
page-unlit = sin luz
page-place-not-known = lugar desconocido
page-out-of-picture = fuera de la imagen
page-no-picture-yet = aún sin imagen
page-no-reference = sin referencia
page-reference-too-dark = referencia muy oscura
page-reference-saturated = referencia saturada

# Nombres de regiones: hasta 40 letras, cifras, espacios, puntos o guiones.
page-name-tip = Punta
page-name-middle = Centro
page-name-base = Base
page-name-edge = Borde
page-name-pedicle = Pedículo
page-name-node = Ganglio
page-other-name = Otro nombre: letras, cifras, espacios
page-keep-name = Usar este nombre
page-name-rule = Un nombre tiene de 1 a 40 letras, cifras, espacios, puntos o guiones:
