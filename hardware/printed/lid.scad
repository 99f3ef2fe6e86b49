// Lid: the board hangs under it, so that opening the lid brings it out with its wires. Printed outside down.
include <dimensions.scad>

standoff_mm = 6;
slot_mm = [30, 2.4];

module on_board() {
    translate([0, board_middle_mm]) rectangle_of(board_pattern_mm) children();
}

module outline() {
    offset(4) square([body_width_mm - 8, body_length_mm - 8], center = true);
}

module lid() {
    difference() {
        union() {
            linear_extrude(wall_mm, convexity = 10) difference() {
                outline();
                rectangle_of([body_width_mm - 8, body_length_mm - 8]) circle(d = m3_clear_mm);
                for (i = [-3 : 3]) translate([-slot_mm[0] / 2, board_middle_mm + i * 6]) square(slot_mm);
            }
            linear_extrude(wall_mm + standoff_mm) on_board() circle(d = 6);
        }
        translate([0, 0, 1.2]) linear_extrude(20) on_board() circle(d = m25_pilot_mm);
    }
}

lid();
