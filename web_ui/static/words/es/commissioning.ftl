# Commissioning, and the check before a case.
commissioning-place = Calibración y comprobación
commissioning-about = Lo que está calibrado, y la comprobación antes de un caso
commissioning-list = Comprobación y pasos
commissioning-back = Todos los pasos
commissioning-next = A continuación
commissioning-not-known = La cámara no responde, así que no se sabe nada de su calibración. La página vuelve a mirar por sí sola.

commissioning-check = Comprobación antes de un caso
commissioning-dark = Imagen oscura
commissioning-defects = Píxeles defectuosos
commissioning-flat = Campo plano
commissioning-gain = Ganancia
commissioning-light = Luz emitida
commissioning-scale = Escala
commissioning-sharpness = Nitidez
commissioning-leakage = Luz que pasa el filtro
commissioning-sensitivity = Sensibilidad
commissioning-history = Calibraciones anteriores
commissioning-papers = Certificado y plantillas

commissioning-check-about = Menos de un minuto: nivel oscuro, defectos nuevos, luz que pasa el filtro, luz que responde y se dispara, espacio, alimentación, reloj, calibración.
commissioning-dark-about = Lo que cuenta cada píxel sin luz alguna.
commissioning-defects-about = Píxeles calientes, ruidosos o distintos con luz; sus vecinos ocupan su lugar.
commissioning-flat-about = Cómo difieren objetivo, anillo y píxeles a lo largo de la imagen.
commissioning-gain-about = Cuentas por electrón y ruido, a partir de imágenes con exposición creciente. Toda incertidumbre se apoya en ello.
commissioning-light-about = Lo que da de verdad cada nivel del anillo, para que atenuarlo no cambie ningún resultado.
commissioning-scale-about = Milímetros por píxel, y cómo curva el objetivo las líneas rectas.
commissioning-sharpness-about = Cuánto contraste conservan los detalles finos.
commissioning-leakage-about = Cuánta luz del propio anillo atraviesa el filtro.
commissioning-sensitivity-about = La menor cantidad de colorante que se ve, y hasta dónde la señal le es proporcional.
commissioning-history-about = Cada calibración se conserva. Al retomar una anterior se guarda otra vez con fecha nueva; no se pierde nada.
commissioning-papers-about = Papeles para ver, guardar o imprimir. Están en inglés.

commissioning-check-guide =
    Coloque el aparato de mano en su caja oscura sobre la tarjeta lisa, con la ventana limpia, como al calibrar.
    El anillo se enciende alrededor de un segundo y se dispara a propósito.
commissioning-dark-guide =
    Deje funcionar el aparato diez minutos, para que el sensor alcance su temperatura de trabajo.
    Tape el objetivo de modo que no entre luz, o ponga el aparato boca abajo sobre un paño negro en una sala oscura.
    El anillo permanece apagado.
commissioning-even-guide =
    Fije el aparato perpendicular a un objeto uniforme y mate que brille en la banda de su filtro: una tarjeta de colorante. Llena toda la imagen y no se mueve.
    Oscurezca la sala.
    El anillo se enciende en su nivel más alto, unos segundos en total.
commissioning-gain-guide =
    Fije el aparato perpendicular a un objeto uniforme y mate que brille en la banda de su filtro: una tarjeta de colorante. Llena toda la imagen y no se mueve.
    Oscurezca la sala.
    El anillo se enciende en su nivel más alto unas catorce veces, medio segundo cada vez.
commissioning-light-guide =
    Deje descansar el anillo un minuto. Fije el aparato sobre un objeto uniforme y mate que brille o refleje un poco en su filtro: una tarjeta de colorante, o cartulina blanca mate.
    Llena el tercio central de la imagen y no se mueve. Oscurezca la sala, o al menos apague las lámparas que parpadean.
    El anillo se enciende en cada nivel, subiendo y bajando, alrededor de medio segundo cada vez.
commissioning-scale-guide =
    Imprima la retícula de puntos con una impresora láser en papel rígido y mate, al 100 %, y compruebe sus reglas. La mayoría de las tintas no se ven en el infrarrojo cercano.
    Póngala plana, con su centro en el centro de la imagen, perpendicular al aparato, a su distancia de trabajo.
    Ilumínela de modo uniforme: puede ayudar la luz del día o una lámpara halógena.
    El anillo se enciende en su nivel más alto, unos segundos en total.
commissioning-sharpness-guide =
    Imprima el borde inclinado con una impresora láser en papel rígido y mate, al 100 %.
    Póngalo plano, con su centro en el centro de la imagen, enfocado a su distancia de trabajo; ningún otro borde en el centro de la imagen.
    Ilumínelo de modo uniforme: puede ayudar la luz del día o una lámpara halógena.
    El anillo se enciende en su nivel más alto, unos segundos en total.
commissioning-leakage-guide =
    Retire la tarjeta de colorante y ponga en su lugar cartulina blanca mate sin colorante, a la misma distancia. Llena la imagen.
    Oscurezca la sala.
    El anillo se enciende en su nivel más alto, unos segundos en total.
commissioning-sensitivity-guide =
    Llene ocho pocillos iguales con sus diluciones, uno de ellos sin colorante, a la misma altura. Colóquelos sobre la hoja impresa: la fila de arriba de izquierda a derecha, luego la de abajo, en el orden en que indica sus concentraciones.
    Ponga el centro de la hoja en el centro de la imagen, a la distancia del paso Escala. Oscurezca la sala.
    Guantes y gafas protectoras; la ficha técnica del colorante decide cómo se mezcla y cuánto dura una solución.
    El anillo se enciende en su nivel más alto, unos segundos en total.

commissioning-caution-title = El anillo se va a encender
commissioning-caution = Su luz es en su mayor parte invisible. No mire hacia él. Gafas protectoras para quienes estén cerca; mantenga alejados a los demás. Cualquier tableta que controle, y el botón del aparato, pueden terminarlo al instante.
commissioning-warned = Todos los que están cerca están avisados, y nadie mira hacia el anillo
commissioning-stays-dark = En este paso el anillo permanece apagado.
commissioning-watched = Mantenga esta página a la vista: si nadie la mira durante cinco segundos, el paso termina por sí solo, la luz primero.
commissioning-distance = Del objetivo a la hoja, mm
commissioning-pitch = De punto a punto, mm, medido sobre diez
commissioning-concentrations = Concentraciones de los ocho pocillos, separadas por espacios; una de ellas 0
commissioning-unit = Su unidad
commissioning-need-eight = Hacen falta ocho números distintos, uno por pocillo: 0 para el que no tiene colorante.
commissioning-need-number = Aquí hace falta un número.

commissioning-take = Hacer este paso
commissioning-take-again = Hacerlo otra vez
commissioning-make-check = Hacer la comprobación
commissioning-check-again = Comprobar otra vez
commissioning-start-lit = Empezar: el anillo se enciende
commissioning-start-dark = Empezar
commissioning-cancel = Ahora no
commissioning-stop = Detener
commissioning-running = { $step }: en curso
commissioning-running-since = desde hace { $seconds } s
commissioning-ring-lit = El anillo está encendido
commissioning-ring-dark = El anillo está apagado
commissioning-begins = preparando
commissioning-ended = Terminó sin resultado: { $why }
commissioning-other-runs = { $step } está en curso. Una cosa cada vez.
commissioning-target-simulated = Esto es el ensayo: los objetos se ponen solos ante la cámara simulada.

commissioning-result = { $step }: el resultado
commissioning-keep = Conservar
commissioning-discard = Descartar
commissioning-keep-why = Si lo conserva, será la calibración más reciente. No se pierde nada anterior.
commissioning-kept = Conservado. Vale en cuanto se ponga en vigor.
commissioning-discarded = Descartado. Sigue la calibración anterior.
commissioning-undo = Deshacer
commissioning-discard-question = ¿Descartar este resultado? No se puede recuperar; el paso se puede hacer otra vez.
commissioning-tripped = La luz se ha disparado: { $why }. Corríjalo y después vuelva a prepararla; con ello no se enciende nada.
commissioning-arm = Volver a preparar la luz
commissioning-waits = Un resultado espera: consérvelo o descártelo.
commissioning-look-at-it = Verlo

commissioning-figure = Magnitud
commissioning-value = Valor
commissioning-limit = Límite
commissioning-before = Antes
commissioning-within = dentro
commissioning-outside = FUERA
commissioning-figures-about = Valores con su incertidumbre típica. Los límites los ha elegido este proyecto.
commissioning-taken = Hecho { $when }
commissioning-age = { $days ->
    [0] hoy
    [one] hace { $days } día
   *[other] hace { $days } días
  }
commissioning-never = nunca hecho
commissioning-failing = fuera de su límite
commissioning-old = demasiado antiguo: hágalo otra vez
commissioning-frames-in = Imágenes en { $recording }
commissioning-needs = Primero: { $steps }.

commissioning-passed = SUPERADA
commissioning-failed = NO SUPERADA
commissioning-pass = bien
commissioning-fail = FALLO
commissioning-check-made = Comprobación del { $when }
commissioning-check-none = Todavía no se ha hecho ninguna comprobación.
commissioning-checks-before = Comprobaciones anteriores
commissioning-put-right = Corrija lo que falló, y después compruebe otra vez.
commissioning-in-progress = en curso

commissioning-next-decide = Un resultado espera su decisión: { $step }.
commissioning-next-start = No hay nada calibrado: los resultados se basan en suposiciones. Empiece por la imagen oscura.
commissioning-next-step = Falta { $step }; es lo siguiente.
commissioning-next-force = La calibración más reciente aún no está en vigor. Reiniciar el programa de la cámara tarda unos segundos; mientras tanto no hay imagen.
commissioning-next-force-now = Ponerla en vigor
commissioning-next-old = { $step } tiene { $days } días, más de { $limit }. Hágalo otra vez.
commissioning-next-failing = { $step } está fuera de su límite. Mire lo que allí se dice, y después hágalo otra vez.
commissioning-next-check = Calibrado. Antes de un caso, haga la comprobación.
commissioning-next-check-failed = La última comprobación no se superó. Corrija lo que falló, y después compruebe otra vez.
commissioning-next-ready = Calibrado, y la comprobación de hoy se superó.
commissioning-next-optional = { $step } nunca se hizo. Los resultados no lo necesitan; con él, el certificado dice más.
commissioning-next-live = A la imagen
commissioning-not-for-replay = Una grabación reproducida no tiene sensor: no hay nada que calibrar. Las plantillas para imprimir se pueden obtener igualmente.
commissioning-force-asked = ¿Poner en vigor la calibración más reciente? La imagen desaparece unos segundos.
commissioning-forcing = El programa de la cámara se reinicia.

commissioning-in-force = en vigor
commissioning-newest = la más reciente
commissioning-lacks = falta: { $steps }
commissioning-again-from = de nuevo la del { $name }
commissioning-use = Usar esta
commissioning-used = Retomada. Vale en cuanto se ponga en vigor.
commissioning-no-calibrations = Todavía no se conserva ninguna.

commissioning-certificate = Certificado
commissioning-certificate-about = Cada magnitud de la calibración más reciente junto a su límite, con sus curvas, en PDF.
commissioning-targets = Plantillas para imprimir
commissioning-targets-about = Retícula de puntos, borde inclinado, lugares del objeto uniforme y de los pocillos. Imprima al 100 %, con una impresora láser en papel mate, y mida las dos reglas.
commissioning-target-a4 = Papel A4
commissioning-target-letter = Papel Carta
commissioning-write-paper = Generar
commissioning-writing = se está generando …
commissioning-open-paper = Abrir el PDF
commissioning-save-paper = Guardar
commissioning-paper-failed = No se pudo generar: { $why }

commissioning-curve-none = De este paso no se conserva ninguna curva.
commissioning-curve-dark = Píxeles según su cuenta media
commissioning-curve-defects = Dónde están los defectos
commissioning-curve-flat = Porcentaje del lugar más brillante
commissioning-curve-gain = Transferencia de fotones (EMVA 1288)
commissioning-curve-light = Luz emitida respecto al nivel máximo
commissioning-curve-sharpness = Contraste de los detalles finos (ISO 12233)
commissioning-curve-leakage = Porcentaje de la señal de la tarjeta de colorante en ese lugar
commissioning-curve-sensitivity = Serie de diluciones
commissioning-axis-counts = cuentas
commissioning-axis-pixels = píxeles
commissioning-axis-x = píxeles a la derecha
commissioning-axis-y = píxeles hacia abajo
commissioning-axis-signal = cuentas sobre oscuro
commissioning-axis-variance = varianza, cuentas²
commissioning-axis-level = nivel
commissioning-axis-output = luz emitida
commissioning-axis-frequency = ciclos por píxel
commissioning-axis-contrast = contraste
commissioning-axis-concentration = concentración
commissioning-axis-signal-ms = señal, cuentas/ms
commissioning-series-measured = medido
commissioning-series-line = recta
commissioning-series-proportional = proporcional
commissioning-series-places = defectos
commissioning-series-share = parte
commissioning-mark-sharpness = MTF50
commissioning-mark-sensitivity = límite de detección
commissioning-of-check-storage = Espacio
commissioning-of-check-clock = Reloj
commissioning-of-check-calibration = Calibración
commissioning-of-check-dark-level = Nivel oscuro
commissioning-of-check-new-defects = Defectos nuevos
commissioning-of-check-leakage = Luz que pasa el filtro
commissioning-of-check-light-answers = La luz responde
commissioning-of-check-light-trips = La luz se dispara
commissioning-of-check-supply = Alimentación
commissioning-of-check-light-conditions = Condiciones de la luz
