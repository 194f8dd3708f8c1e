// The tone of a point: clay in the light, a soft shade turned away from it, a little brighter along the rims. What lies
// above the cut is left out; where one looks inside, the inside has the tone of the cut.
precision highp float;
uniform vec3 light, toward, clay, shade, cutTone, ink;
uniform float cut, plain;
varying vec3 normal;
varying float z;

void main() {
  if (z > cut) discard;
  vec3 n = normalize(normal);
  float lit = smoothstep(-.35, 1., dot(n, light)), rim = pow(1. - abs(dot(n, toward)), 3.);
  vec3 tone = mix(shade, clay, lit) + .10 * rim * clay + .16 * smoothstep(.75, 1., lit);
  if (!gl_FrontFacing) tone = cutTone;
  gl_FragColor = vec4(plain > .5 ? ink : tone, 1.);
}
