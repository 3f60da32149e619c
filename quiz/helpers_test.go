package quiz_test

import (
	"os"
	"testing"
	"testing/fstest"

	"brakewright/curriculum"
	"brakewright/quiz"
)

// soak is the full count with BRAKEWRIGHT_SOAK=1, else a tenth of it.
func soak(full int) int {
	if os.Getenv("BRAKEWRIGHT_SOAK") == "1" {
		return full
	}
	return full / 10
}

var mustLoad = quiz.MustLoad

// mustBuild loads a programme from file contents.
func mustBuild(t testing.TB, files map[string]string) *curriculum.Programme {
	t.Helper()
	fsys := fstest.MapFS{}
	for name, text := range files {
		fsys[name] = &fstest.MapFile{Data: []byte(text)}
	}
	p, problems := curriculum.Load(fsys)
	if p == nil {
		t.Fatalf("programme: %v", problems)
	}
	return p
}

// programmes are all that questions are tested on: the default one, other trades, and one made to trip the generator.
func programmes(t testing.TB) map[string]*curriculum.Programme {
	t.Helper()
	out := map[string]*curriculum.Programme{"brakes": mustLoad(t, "../curriculum/brakes"), "tricky": mustBuild(t, tricky)}
	for _, root := range []string{"../testdata/trades"} {
		dirs, err := os.ReadDir(root)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range dirs {
			out["trades/"+d.Name()] = mustLoad(t, root+"/"+d.Name())
		}
	}
	if _, err := os.Stat("../testdata/format/programme.yaml"); err == nil {
		out["format"] = mustLoad(t, "../testdata/format")
	}
	return out
}

// vehicleIDs are "" and all sheets.
func vehicleIDs(p *curriculum.Programme) []string {
	ids := []string{""}
	for _, v := range p.Vehicles {
		ids = append(ids, v.ID)
	}
	return ids
}

// tricky is a programme full of traps: rows that share symptoms, causes, hazards and controls, synonyms, steps with like
// titles and like consequences, sub-steps, features, wheels in a named order, coinciding slips, limits given as ranges.
var tricky = map[string]string{
	"programme.yaml": `title: Traps
languages: [en, es]
units: si
tasks:
  - {id: pump, title: Overhaul a pump, lessons: [pump], prerequisites: []}
policy:
  tasks:
    pump: {jobs: 2, supervisors: 1, recency_days: 90, lapse_days: 180, theory_test: {blueprint: pump-theory, pass_percent: 70}}
blueprints:
  - {id: pump-theory, task: pump, questions: 12, lessons: {pump: 12}, critical_steps: all}
  - {id: pump-steps, task: pump, questions: 8, lessons: {pump: 8}, families: {order: 2, before: 2, if-skipped: 4}, critical_steps: none}
`,
	"lessons/pump.md":     trickyEnglish,
	"lessons/es/pump.md":  trickySpanish,
	"vehicles/rig-one.md": trickyRig("rig-one", "Rig One", "[tank, valve]", "[front, valve]"),
	"vehicles/rig-two.md": trickyRig("rig-two", "Rig Two", "[tank]", "[front]"),
	"pictures/pump.svg":   trickyPicture,
}

func trickyRig(id, title, features, wheel string) string {
	return `---
id: ` + id + `
title: ` + title + `
language: en
layout: plain
features: ` + features + `
wheels:
  A: ` + wheel + `
  B: [front]
  C: [rear]
orders:
  round: [C, A, B]
---

# ` + title + `

## Figures

| Key | Quantity | Value | Unit | Limit | Source |
|---|---|---|---|---|---|
| seal.front.minimum | Front seal thickness | 4.5 | mm | minimum | invented |
| seal.rear.minimum | Rear seal thickness | 4.50 | mm | minimum | invented |
| bolt.torque | Flange bolt torque | 25 | N·m | | invented |
| cap.torque | Cap bolt torque | 25.0 | N·m | | invented |
| gland.torque | Gland nut torque | 40 | N·m | | invented |
| play | Shaft play | 0.05–0.25 | mm | range | invented |
| arm | Lever arm | 250 | mm | | invented |
`
}

const trickyEnglish = `---
id: pump
title: Overhauling a pump
language: en
tasks: [pump]
minutes: 20
---

# Overhauling a pump

## Cautions

| Hazard | Consequence | Control | If |
|---|---|---|---|
| Hot oil | Burnt hands | Gloves to the elbow | |
| Hot oil | Burnt face | Visor over the goggles | |
| Turning shaft | Torn sleeve and arm | Isolator locked off | |
| Turning coupling | Torn sleeve and arm | Isolator locked off | |
| Oil on the floor | A fall onto the plinth | Sand spread at once | |
| Solvent vapour | Dizziness | Fan at the open door | |
| Tank under pressure | A jet through the skin | Vent opened and gauge at zero | tank |
| Spring in the valve | Struck eye | Cover held down while it is undone | valve |

## Tools and materials

| Item | Use | Wrong choice |
|---|---|---|
| Hook spanner | Undoing the gland nut | Hammer and chisel: splits the nut |
| C-spanner | Undoing the gland nut | Pipe wrench: bites into the nut |
| Feeler gauge | Measuring the gap | Scrap of paper: squeezes flat and lies |
| Brass drift | Driving the bearing home | Steel punch: chips the race |
| Lint-free rag | Wiping the seal face | Cotton waste: leaves threads behind |

## Procedure

- Lock the isolator {#lock .critical}
  - **Why:** Somebody else may press the start button.
  - **If skipped:** The shaft turns while hands are inside.
- Open the vent {#vent if="tank" .critical}
  - **Why:** Pressure stays in the tank after a stop.
  - **If skipped:** Oil jets out at the first loosened bolt.
- Read the plate {#plate}
  - **Why:** Two sizes look the same.
  - **If skipped:** A seal of the wrong size is fitted.

1. Drain the casing {#drain after="lock vent"}
   - **Why:** A full casing spills over the plinth.
   - **If skipped:** Warm oil runs over the floor.
2. Undo the flange bolts {#undo .critical}
   - **Why:** The cover holds the bearing.
   - **If skipped:** The cover cracks when it is levered off.
3. Take the shaft out {#shaft}
   1. Mark the coupling halves {#mark}
      - **Why:** They were balanced together.
      - **If skipped:** The pump shakes itself loose.
   2. Draw the coupling off {#draw}
      - **Why:** It is wider than the bore.
      - **If skipped:** The bore is scored all along.
   3. Slide the shaft out {#slide}
      - **Why:** The seal sits behind its shoulder.
      - **If skipped:** Nobody can reach the seal.
4. Measure the seal {#measure each="wheel in round" after="shaft plate"}
   - **Why:** A thin seal leaks within a week.
   - **If skipped:** A worn seal goes back in.
   - **Measure:** [seal thickness](vehicle:seal.{axle}.minimum); lowest of four readings
5. Check the relief valve {#relief each="wheel" if="valve"}
   - **Why:** It opens before the casing bursts.
   - **If skipped:** The casing bursts at a blocked outlet.
6. Set the shaft play {#play-step .critical .hold}
   - **Why:** Metal grows when it is warm.
   - **If skipped:** The bearing seizes once it is hot.
   - **Measure:** [shaft play](vehicle:play); spread over one turn
7. Fit the cover {#cover}
   - **Why:** It keeps the dust out.
   - **If skipped:** Dust grinds the bearing away.
8. Tighten the flange bolts crosswise {#tighten .critical}
   - **Why:** An even pull keeps the face flat.
   - **If done wrong:** The face warps and oil creeps out.
9. Fill with new oil {#fill}
   - **Why:** A dry seal burns at the first start.
   - **If skipped:** The seal burns at the first start.
   - **Measure:** Oil level above the mark
10. Run it for a minute {#run .critical}
    - **Why:** A leak shows under pressure alone.
    - **If skipped:** A leak is found by the customer.

## Faults

| Symptom | Cause | Check that tells |
|---|---|---|
| Knocking | Worn bearing | Play felt at the shaft end |
| Knocking | Air in the inlet | Foam seen in the sight glass |
| Oil beneath the pump | Worn seal | Wet ring around the shaft |
| Oil beneath the pump | Loose flange | Wet edge along the cover |
| Oil under the pump | Cracked casing | Dye comes through the wall |
| No pressure | Worn bearing | Gauge rises when the outlet is shut |
| No pressure | Blocked strainer | Basket full of sludge |

## Figures

| Quantity | Value | Unit | Limit | Source |
|---|---|---|---|---|
| Oil level above the mark | 2–6 | mm | range | invented |
| Oil temperature | 65 | °C | maximum | invented |
| Bolts in the flange | 6 | | | invented |
| Hours between changes | 500 | h | maximum | invented |

## Terms

Gland
Stuffing box
: Chamber packed to keep a shaft tight.

Strainer
: Basket that keeps coarse dirt out.

Plinth
: Raised block on which a machine stands.

Impeller
: Bladed wheel that flings the liquid outwards.

Isolator
: Switch that cuts a machine off for as long as it is locked.

## Arithmetic

` + "```sum" + `
id: moment
ask: What moment does the lever give?
given:
  F: {what: force at its end, unit: N, values: [100, 200, 300]}
  a: {what: length of the lever, unit: mm, vehicle: arm}
find: F * a / 1000
unit: N·m
rounding: 0.1
tolerance: 0.1
slips:
  - {formula: F * a / 100, means: a power of ten was lost}
  - {formula: F / a * 1000, means: divided by the arm}
  - {formula: 2 * F * a / 1000, means: counted twice}
` + "```" + `

` + "```sum" + `
ask: How long does the tank take to fill?
given:
  V: {what: volume of the tank, unit: L, values: [20, 40]}
  q: {what: flow per minute, unit: L, values: [2, 4]}
find: V / q
unit: min
rounding: 1
tolerance: 0
slips:
  - {formula: V * q, means: multiplied}
  - {formula: q * V, means: multiplied the other way}
  - {formula: V - q, means: subtracted}
` + "```" + `

## Misbeliefs

- **Said:** A little leak stops by itself. **In fact:** It grows with every hour.
- **Said:** More grease is always better. **In fact:** Too much grease heats a bearing.
- **Said:** A quiet pump needs no check. **In fact:** Worn seals make no sound.
- **Said:** Tighten until it squeaks. **In fact:** Threads stretch beyond the torque of the sheet.
- **Said:** Old oil is good enough for a test. **In fact:** Dirt from used oil scratches new faces.

## Pictures

![A pump cut open, with numbers at its parts.](../pictures/pump.svg)

| Number | Part |
|---|---|
| 1 | Casing |
| 2 | Shaft |
| 3 | Strainer basket |
| 4 | Bearing |
`

const trickySpanish = `---
id: pump
title: Revisar una bomba
language: es
tasks: [pump]
minutes: 20
---

# Revisar una bomba

## Precauciones

| Peligro | Consecuencia | Control | Si |
|---|---|---|---|
| Aceite caliente | Manos quemadas | Guantes hasta el codo | |
| Aceite caliente | Cara quemada | Visera sobre las gafas | |
| Eje que gira | Manga y brazo desgarrados | Seccionador con candado | |
| Acoplamiento que gira | Manga y brazo desgarrados | Seccionador con candado | |
| Aceite en el suelo | Una caída sobre la base | Arena echada enseguida | |
| Vapor de disolvente | Mareo | Ventilador junto a la puerta abierta | |
| Depósito con presión | Un chorro que atraviesa la piel | Purga abierta y manómetro a cero | tank |
| Muelle en la válvula | Golpe en un ojo | Tapa sujeta mientras se suelta | valve |

## Herramientas y materiales

| Artículo | Uso | Elección equivocada |
|---|---|---|
| Llave de gancho | Aflojar la tuerca del prensaestopas | Martillo y cincel: parte la tuerca |
| Llave en C | Aflojar la tuerca del prensaestopas | Llave de tubo: muerde la tuerca |
| Galga | Medir la holgura | Trozo de papel: se aplasta y engaña |
| Botador de latón | Llevar el rodamiento a su sitio | Punzón de acero: astilla la pista |
| Trapo sin pelusa | Limpiar la cara del retén | Borra de algodón: deja hilos |

## Procedimiento

- Pon el candado al seccionador {#lock .critical}
  - **Por qué:** Otra persona puede pulsar el arranque.
  - **Si se omite:** El eje gira con las manos dentro.
- Abre la purga {#vent if="tank" .critical}
  - **Por qué:** Queda presión en el depósito tras la parada.
  - **Si se omite:** El aceite sale a chorro con el primer tornillo.
- Lee la placa {#plate}
  - **Por qué:** Dos tamaños parecen iguales.
  - **Si se omite:** Se monta un retén de otra medida.

1. Vacía la carcasa {#drain after="lock vent"}
   - **Por qué:** Una carcasa llena rebosa sobre la base.
   - **Si se omite:** El aceite tibio corre por el suelo.
2. Suelta los tornillos de la brida {#undo .critical}
   - **Por qué:** La tapa sujeta el rodamiento.
   - **Si se omite:** La tapa se agrieta al hacer palanca.
3. Saca el eje {#shaft}
   1. Marca las mitades del acoplamiento {#mark}
      - **Por qué:** Se equilibraron juntas.
      - **Si se omite:** La bomba se afloja a sacudidas.
   2. Extrae el acoplamiento {#draw}
      - **Por qué:** Es más ancho que el alojamiento.
      - **Si se omite:** El alojamiento queda rayado.
   3. Desliza el eje hacia fuera {#slide}
      - **Por qué:** El retén está detrás de su resalte.
      - **Si se omite:** Nadie llega al retén.
4. Mide el retén {#measure each="wheel in round" after="shaft plate"}
   - **Por qué:** Un retén fino gotea en una semana.
   - **Si se omite:** Vuelve a montarse uno gastado.
   - **Medir:** [grosor del retén](vehicle:seal.{axle}.minimum); la menor de cuatro lecturas
5. Revisa la válvula de alivio {#relief each="wheel" if="valve"}
   - **Por qué:** Abre antes de que reviente la carcasa.
   - **Si se omite:** La carcasa revienta con la salida tapada.
6. Ajusta el juego del eje {#play-step .critical .hold}
   - **Por qué:** El metal crece con el calor.
   - **Si se omite:** El rodamiento se agarrota en caliente.
   - **Medir:** [juego del eje](vehicle:play); la diferencia en una vuelta
7. Monta la tapa {#cover}
   - **Por qué:** No deja entrar el polvo.
   - **Si se omite:** El polvo desgasta el rodamiento.
8. Aprieta en cruz los tornillos de la brida {#tighten .critical}
   - **Por qué:** Un tiro igual mantiene plana la cara.
   - **Si se hace mal:** La cara se alabea y el aceite rezuma.
9. Llena con aceite nuevo {#fill}
   - **Por qué:** Un retén seco se quema al arrancar.
   - **Si se omite:** El retén se quema al arrancar.
   - **Medir:** Nivel de aceite sobre la marca
10. Hazla funcionar un minuto {#run .critical}
    - **Por qué:** Una fuga solo se ve con presión.
    - **Si se omite:** La fuga la encuentra el cliente.

## Averías

| Síntoma | Causa | Comprobación que distingue |
|---|---|---|
| Golpeteo | Rodamiento gastado | Juego en la punta del eje |
| Golpeteo | Aire en la entrada | Espuma en la mirilla |
| Aceite debajo de la bomba | Retén gastado | Anillo mojado alrededor del eje |
| Aceite debajo de la bomba | Brida floja | Borde mojado a lo largo de la tapa |
| Aceite bajo la bomba | Carcasa agrietada | El tinte atraviesa la pared |
| Sin presión | Rodamiento gastado | El manómetro sube al cerrar la salida |
| Sin presión | Filtro atascado | Cesta llena de lodo |

## Datos

| Magnitud | Valor | Unidad | Límite | Fuente |
|---|---|---|---|---|
| Nivel de aceite sobre la marca | 2–6 | mm | intervalo | inventado |
| Temperatura del aceite | 65 | °C | máximo | inventado |
| Tornillos de la brida | 6 | | | inventado |
| Horas entre cambios | 500 | h | máximo | inventado |

## Términos

Prensaestopas
Caja de estopas
: Cámara con empaquetadura que mantiene estanco un eje.

Colador
: Cesta que retiene la suciedad gruesa.

Plinto
: Bloque elevado sobre el que descansa una máquina.

Rodete
: Rueda con palas que lanza el líquido hacia fuera.

Seccionador
: Interruptor que aísla una máquina mientras tiene candado.

## Cálculo

` + "```sum" + `
id: moment
ask: ¿Qué momento da la palanca?
given:
  F: {what: fuerza en su extremo, unit: N, values: [100, 200, 300]}
  a: {what: longitud de la palanca, unit: mm, vehicle: arm}
find: F * a / 1000
unit: N·m
rounding: 0.1
tolerance: 0.1
slips:
  - {formula: F * a / 100, means: se perdió una potencia de diez}
  - {formula: F / a * 1000, means: se dividió por el brazo}
  - {formula: 2 * F * a / 1000, means: se contó dos veces}
` + "```" + `

` + "```sum" + `
ask: ¿Cuánto tarda en llenarse el depósito?
given:
  V: {what: volumen del depósito, unit: L, values: [20, 40]}
  q: {what: caudal por minuto, unit: L, values: [2, 4]}
find: V / q
unit: min
rounding: 1
tolerance: 0
slips:
  - {formula: V * q, means: se multiplicó}
  - {formula: q * V, means: se multiplicó al revés}
  - {formula: V - q, means: se restó}
` + "```" + `

## Creencias erróneas

- **Se dice:** Una fuga pequeña se cierra sola. **En realidad:** Crece cada hora.
- **Se dice:** Más grasa siempre es mejor. **En realidad:** Demasiada grasa calienta un rodamiento.
- **Se dice:** Una bomba silenciosa no se revisa. **En realidad:** Los retenes gastados no suenan.
- **Se dice:** Aprieta hasta que chirríe. **En realidad:** Las roscas se estiran por encima del par de la hoja.
- **Se dice:** El aceite viejo vale para una prueba. **En realidad:** La suciedad del aceite usado raya las caras nuevas.

## Figuras

![Una bomba abierta, con números en sus piezas.](../../pictures/pump.svg)

| Número | Pieza |
|---|---|
| 1 | Carcasa |
| 2 | Eje |
| 3 | Cesta del colador |
| 4 | Rodamiento |
`

const trickyPicture = `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">
<g class="callout"><text x="10" y="10">1</text></g>
<g class="callout"><text x="20" y="10">2</text></g>
<g class="callout"><text x="30" y="10">3</text></g>
<g class="callout"><text x="40" y="10">4</text></g>
</svg>
`
