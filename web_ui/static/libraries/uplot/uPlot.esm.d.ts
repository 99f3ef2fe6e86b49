// the package describes itself for CommonJS only
import uPlot = require("./uPlot.cjs");
export default uPlot;
