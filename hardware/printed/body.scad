// Body: camera mount through its front wall, screwed from below; driver and dead-man upright behind it; power bank on the floor; board
// under the lid. Printed floor down. Drawn with its floor at z = 0 and the patient towards +y.
include <dimensions.scad>

stick_window_mm = [54, 18];       // at the back: the board's USB side, for the stick
driver_board_mm = 1.6;            // thickness of the board in the guides
driver_y_mm = 38;

module between(low, high) {
    translate([0, 0, low]) linear_extrude(high - low, convexity = 10) children();
}

module outline() {
    offset(4) square([body_width_mm - 8, body_length_mm - 8], center = true);
}

module corners() {
    rectangle_of([body_width_mm - 8, body_length_mm - 8]) children();
}

module driver_guides() {
    for (side = [-1, 1], y = [-1, 1])
        translate([side * (body_width_mm / 2 - wall_mm - 1.4), driver_y_mm + y * (driver_board_mm / 2 + 1.1)]) square([3.2, 1.6], center = true);
}

// Camera mount and grip, from below; the middle hole lets the button's wires up.
module floor_holes() {
    for (z = [12, 32]) translate([0, mount_front_mm - z]) circle(d = m3_clear_mm);
    translate([0, grip_middle_mm]) {
        rectangle_of(grip_pattern_mm) circle(d = m3_clear_mm);
        circle(d = 14);
    }
}

module inside() {
    difference() {
        offset(delta = -wall_mm) outline();
        corners() circle(d = 8);
        driver_guides();
    }
}

module pad() {
    rear = mount_front_mm - camera_depth_mm;
    translate([-camera_block_mm / 2, rear]) square([camera_block_mm, body_length_mm / 2 - rear]);
}

module body() {
    difference() {
        between(0, body_height_mm) difference() {
            outline();
            floor_holes();
        }
        between(pad_mm, body_height_mm + 1) inside();
        between(floor_mm, pad_mm + 1) difference() {
            inside();
            pad();
        }
        between(body_height_mm - 10, body_height_mm + 1) corners() circle(d = 2.6);
        // The camera mount slides in from the front.
        translate([0, body_length_mm / 2, pad_mm + (camera_block_mm + 0.5) / 2])
            cube([camera_block_mm + 0.5, 3 * wall_mm, camera_block_mm + 0.5], center = true);
        // The ring's wires are laid in from above, between two arms of the camera mount.
        translate([0, body_length_mm / 2, body_height_mm]) cube([8, 3 * wall_mm, 10], center = true);
        translate([0, -body_length_mm / 2, body_height_mm - 8 - stick_window_mm[1] / 2])
            cube([stick_window_mm[0], 3 * wall_mm, stick_window_mm[1]], center = true);
        // Countersunk from inside, because the power bank lies on the grip's screws.
        translate([0, grip_middle_mm, floor_mm - 1.8]) rectangle_of(grip_pattern_mm) cylinder(d1 = m3_clear_mm + 0.2, d2 = 7, h = 1.81);
    }
}

body();
