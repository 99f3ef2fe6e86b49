// Grip: under the body, leaning back; the button sits where the index finger rests. Printed top plate down.
// Drawn upside down: the top plate lies at z = 0, the patient towards +y.
include <dimensions.scad>

length_mm = 98;
lean_deg = 12;
thickness_mm = [30, 42];          // across, along
plate_mm = 5;
channel_mm = 14;
button_hole_mm = 12.2;            // panel button of 12 mm; measure yours
button_from_plate_mm = 24;

module oval(size, height) {
    linear_extrude(height, convexity = 4) hull() for (y = [-1, 1]) translate([0, y * (size[1] - size[0]) / 2]) circle(d = size[0]);
}

module leaning() {
    multmatrix([[1, 0, 0, 0], [0, 1, -tan(lean_deg), 0], [0, 0, 1, 0]]) children();
}

module grip() {
    difference() {
        union() {
            rounded_plate([46, 60], 6, plate_mm);
            leaning() hull() {
                oval(thickness_mm, length_mm - 6);
                oval([thickness_mm[0] - 8, thickness_mm[1] - 8], length_mm);
            }
            // A rest for the middle finger under the button, so that the index finger finds it without looking.
            leaning() translate([0, thickness_mm[1] / 2 - 4, button_from_plate_mm + 16]) rotate([0, 90, 0])
                cylinder(d = 12, h = 22, center = true);
        }
        translate([0, 0, -1]) leaning() cylinder(d = channel_mm, h = length_mm - 14);
        leaning() translate([0, 0, button_from_plate_mm]) rotate([-90, 0, 0]) cylinder(d = button_hole_mm, h = 60);
        // Hole for a loop round the wrist.
        leaning() translate([0, 0, length_mm - 9]) rotate([0, 90, 0]) cylinder(d = 5, h = 60, center = true);
        // Flat face for the button's collar.
        leaning() translate([-10, thickness_mm[1] / 2 - 2.5, button_from_plate_mm - 9]) cube([20, 10, 18]);
        translate([0, 0, -1]) rectangle_of(grip_pattern_mm) cylinder(d = m3_insert_mm, h = plate_mm + 6);
    }
}

grip();
