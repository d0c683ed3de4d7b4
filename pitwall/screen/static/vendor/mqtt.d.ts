// As far as the page uses it.
declare const mqtt: { connect(url: string, options: object): any };
export default mqtt;
