// Where a point of the model lies in the picture; seen from far off, so that measures across it are true.
attribute vec3 place, facing;
uniform vec3 right, up, toward;
uniform vec2 scale, aside;
uniform float middle, far;
varying vec3 normal;
varying float z;

void main() {
  vec3 q = place - vec3(0., 0., middle);
  normal = facing;
  z = place.z;
  gl_Position = vec4(scale * vec2(dot(right, q), dot(up, q)) + aside, -dot(toward, q) / far, 1.);
}
