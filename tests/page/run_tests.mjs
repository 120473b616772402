// Runs tests by name, one after another, and counts them.
export async function runTests(tests) {
  let passed = 0;
  let failed = 0;
  for (const [name, test] of Object.entries(tests)) {
    try {
      await test();
      ++passed;
      console.log(`ok      ${name}`);
    } catch (error) {
      ++failed;
      console.log(`FAILED  ${name}\n${error.stack}`);
    }
  }
  console.log(`${passed} passed, ${failed} failed`);
  return failed;
}
