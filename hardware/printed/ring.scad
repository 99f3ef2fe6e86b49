// Ring: one cell an LED, open at the back. From behind: clean-up filter, collar, LED board, heat sink; four screws hold it all to the
// camera mount and clamp the filter holder's foot. Wires leave through a notch in the heat sink. Printed front face down.
// Opaque plastic only: many black ones let infrared through.
include <dimensions.scad>

assert(leds % screws == 0, "leds must be a multiple of 4, so that the screws fall between LEDs");
assert(2 * ring_radius_mm * sin(180 / leds) > led_board_diameter_mm + 1.2, "the LED boards touch: fewer LEDs, or a larger radius");
assert(ring_radius_mm - led_board_diameter_mm / 2 - 0.3 - baffle_radius_mm - slide_mm > 1.2,
       "no wall is left between LEDs and lens: a larger radius");

groove_mm = [4.8, 6.2];           // from and to, for the bead of the drape clip
inner_radius_mm = baffle_radius_mm + slide_mm;
board_inner_radius_mm = ring_radius_mm - led_board_diameter_mm / 2 - 0.3;
board_top_mm = heat_sink_mm + led_board_mm + 0.4;
port_lip_mm = ring_front_mm - lip_mm;
head_mm = ring_front_mm - 4;

module between(low, high) {
    translate([0, 0, low]) linear_extrude(high - low, convexity = 10) children();
}

module annulus(outer, inner) {
    difference() {
        circle(r = outer);
        circle(r = inner);
    }
}

module cells(diameter) {
    for (i = [0 : leds - 1]) rotate(i * 360 / leds) translate([ring_radius_mm, 0]) circle(d = diameter);
}

module holes(diameter) {
    screw_circle(screw_radius_mm) circle(d = diameter);
}

// Flat drawings pulled up and taken out of one another: far quicker to compute than bodies.
module ring() {
    difference() {
        between(0, ring_front_mm) difference() {
            annulus(ring_outer_radius_mm, inner_radius_mm);
            cells(port_diameter_mm);
            holes(m3_clear_mm);
        }
        between(-1, heat_sink_mm) annulus(heat_sink_outer_radius_mm + slide_mm, board_inner_radius_mm);
        between(-1, flange_mm) circle(r = heat_sink_inner_radius_mm);
        // Boards, and the wires from board to board.
        between(-1, board_top_mm) {
            cells(led_board_diameter_mm + 0.6);
            annulus(ring_radius_mm + 4, ring_radius_mm - 4);
        }
        between(-1, port_lip_mm) cells(clean_up_diameter_mm + 0.3);
        between(head_mm, ring_front_mm + 1) holes(m3_head_mm);
        between(groove_mm[0], groove_mm[1]) annulus(ring_outer_radius_mm + 1, ring_outer_radius_mm - 0.8);
    }
}

translate([0, 0, ring_front_mm]) rotate([180, 0, 0]) ring();
